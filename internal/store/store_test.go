package store

import (
	"bytes"
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"earshot/internal/fault"
)

const someone = Identity("0123456789abcdef0123456789abcdef")

// write keeps samples as a proxy.
func write(t testing.TB, c *Cache, name string, samples []float32) {
	t.Helper()
	w, err := c.CreateProxy(someone, name)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Write(samples); err != nil {
		t.Fatal(err)
	}
	if n, err := w.Close(); err != nil || n != len(samples) {
		t.Fatalf("Close = %d, %v, want %d samples", n, err, len(samples))
	}
}

func sine(n int) []float32 {
	s := make([]float32, n)
	for i := range s {
		s[i] = float32(0.3 * math.Sin(float64(i)*0.05))
	}
	return s
}

// A proxy keeps 15 bits of each block's own peak, and reads as silence outside
// the recording.
func TestProxyKeepsSamples(t *testing.T) {
	c := Open(t.TempDir(), DefaultLimit)
	for _, n := range []int{0, 1, proxyBlock, proxyBlock + 1, 70000} {
		want := sine(n)
		write(t, c, "p", want)
		if !c.HasProxy(someone, "p", n) || c.HasProxy(someone, "p", n+proxyBlock) {
			t.Errorf("HasProxy of %d samples does not know it, or knows too much", n)
		}
		p, err := c.OpenProxy(someone, "p", n)
		if err != nil {
			t.Fatal(err)
		}
		got := make([]float32, n+20)
		if err := p.ReadAt(got, -10); err != nil {
			t.Fatal(err)
		}
		p.Close()
		for i, v := range got {
			var w float32
			if k := i - 10; k >= 0 && k < n {
				w = want[k]
			}
			if math.Abs(float64(v-w)) > 0.3/32767 {
				t.Fatalf("of %d samples, sample %d is %g, want %g", n, i-10, v, w)
			}
		}
	}
}

// Damage that a sound can carry stays damage of that sound.
func TestProxyOfSenselessSamples(t *testing.T) {
	c := Open(t.TempDir(), DefaultLimit)
	in := []float32{float32(math.NaN()), float32(math.Inf(1)), float32(math.Inf(-1)), math.MaxFloat32, -math.MaxFloat32, 1e-45, 0.5}
	write(t, c, "p", in)
	p, err := c.OpenProxy(someone, "p", len(in))
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	got := make([]float32, len(in))
	if err := p.ReadAt(got, 0); err != nil {
		t.Fatal(err)
	}
	for i, v := range got {
		if math.IsNaN(float64(v)) || math.IsInf(float64(v), 0) {
			t.Errorf("sample %d, written as %g, is read as %g", i, in[i], v)
		}
	}
}

// damages are what a disk or a person can do to a file's content.
func damages(b []byte) map[string][]byte {
	flip := func(at int) []byte {
		d := bytes.Clone(b)
		d[at] ^= 0x10
		return d
	}
	return map[string][]byte{
		"first byte": flip(0), "middle byte": flip(len(b) / 2), "last byte": flip(len(b) - 1),
		"cut": b[:len(b)-1], "half": b[:len(b)/2], "empty": {}, "grown": append(bytes.Clone(b), 0),
		"zeros": make([]byte, len(b)),
	}
}

func TestDamagedBytesAreNotThere(t *testing.T) {
	c := Open(t.TempDir(), DefaultLimit)
	content := []byte(`{"a": 12345, "b": "words"}`)
	if err := c.SaveBytes(someone, "x", content); err != nil {
		t.Fatal(err)
	}
	path := c.path(someone, "x")
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got := c.LoadBytes(someone, "x"); !bytes.Equal(got, content) {
		t.Fatalf("LoadBytes = %q, want %q", got, content)
	}
	for what, b := range damages(whole) {
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		var v any
		if got := c.LoadBytes(someone, "x"); got != nil || c.Load(someone, "x", &v) {
			t.Errorf("%s: LoadBytes = %q, want nothing", what, got)
		}
	}
	// A whole file in another's place is damage too.
	if err := os.WriteFile(c.path(someone, "y"), whole, 0o600); err != nil {
		t.Fatal(err)
	}
	if got := c.LoadBytes(someone, "y"); got != nil {
		t.Errorf("LoadBytes of another's content = %q, want nothing", got)
	}
}

// Nothing kept is not the same as kept and empty.
func TestEmptyBytesAreThere(t *testing.T) {
	c := Open(t.TempDir(), DefaultLimit)
	if got := c.LoadBytes(someone, "none"); got != nil {
		t.Errorf("LoadBytes of nothing = %v, want nil", got)
	}
	if err := c.SaveBytes(someone, "empty", nil); err != nil {
		t.Fatal(err)
	}
	if got := c.LoadBytes(someone, "empty"); got == nil || len(got) != 0 {
		t.Errorf("LoadBytes of an empty content = %v, want empty and not nil", got)
	}
}

func TestDamagedProxiesAreNotRead(t *testing.T) {
	c := Open(t.TempDir(), DefaultLimit)
	write(t, c, "p", sine(5000))
	path := c.path(someone, "p")
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	all := damages(whole)
	swapped := bytes.Clone(whole) // sound blocks in the wrong places
	copy(swapped, whole[proxyBytes:2*proxyBytes])
	copy(swapped[proxyBytes:], whole[:proxyBytes])
	all["swapped"] = swapped
	for what, b := range all {
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		p, err := c.OpenProxy(someone, "p", 5000)
		if err == nil {
			err = p.ReadAt(make([]float32, 5000), 0)
			p.Close()
		}
		if !errors.Is(err, ErrDamaged) {
			t.Errorf("%s: %v, want ErrDamaged", what, err)
		} else if fault.KindOf(err) != fault.Unreadable {
			t.Errorf("%s: the error is of kind %v", what, fault.KindOf(err))
		}
	}
	os.Remove(path)
	if _, err := c.OpenProxy(someone, "p", 5000); !errors.Is(err, ErrDamaged) {
		t.Errorf("gone: OpenProxy = %v, want ErrDamaged", err)
	}
}

// What is undamaged beside it is read.
func TestTheRestOfADamagedProxy(t *testing.T) {
	c := Open(t.TempDir(), DefaultLimit)
	write(t, c, "p", sine(5000))
	whole, err := os.ReadFile(c.path(someone, "p"))
	if err != nil {
		t.Fatal(err)
	}
	whole[len(whole)-100] ^= 1
	if err := os.WriteFile(c.path(someone, "p"), whole, 0o600); err != nil {
		t.Fatal(err)
	}
	p, err := c.OpenProxy(someone, "p", 5000)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	if err := p.ReadAt(make([]float32, 4*proxyBlock), 0); err != nil {
		t.Errorf("the first four blocks: %v", err)
	}
	if err := p.ReadAt(make([]float32, 10), 4990); !errors.Is(err, ErrDamaged) {
		t.Errorf("the last: %v, want ErrDamaged", err)
	}
}

// A cache that cannot be written to says so, and where.
func TestCacheInTheWayOfAFile(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "cache")
	if err := os.WriteFile(dir, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	c := Open(dir, DefaultLimit)
	err := c.Save(someone, "x", 1)
	if fault.KindOf(err) != fault.Unwritable || fault.HintOf(err) == "" {
		t.Errorf("Save = %v, want an error of kind Unwritable with a hint", err)
	}
	if _, err := c.CreateProxy(someone, "p"); fault.KindOf(err) != fault.Unwritable {
		t.Errorf("CreateProxy = %v, want an error of kind Unwritable", err)
	}
	c.Trim(nil) // and does not fall over
}

// The longest unused goes first, but for what is in use.
func TestTrim(t *testing.T) {
	c := Open(t.TempDir(), 250)
	for _, id := range []Identity{"aa01", "bb02", "cc03", "dd04"} {
		if err := c.SaveBytes(id, "x", make([]byte, 100-sumBytes)); err != nil {
			t.Fatal(err)
		}
	}
	age(t, c, "aa01", 4)
	age(t, c, "bb02", 3)
	age(t, c, "cc03", 2)
	c.Trim(map[Identity]bool{"aa01": true})
	for id, want := range map[Identity]bool{"aa01": true, "bb02": false, "cc03": false, "dd04": true} {
		if got := c.LoadBytes(id, "x") != nil; got != want {
			t.Errorf("%s kept: %v, want %v", id, got, want)
		}
	}
}

func age(t *testing.T, c *Cache, id Identity, hours int) {
	t.Helper()
	dir := filepath.Dir(c.path(id, "x"))
	info, err := os.Stat(dir)
	if err != nil {
		t.Fatal(err)
	}
	then := info.ModTime().Add(-time.Duration(hours) * time.Hour)
	if err := os.Chtimes(dir, then, then); err != nil {
		t.Fatal(err)
	}
}

// FuzzDamagedCache puts any bytes in the place of a kept content and of a
// proxy: neither may be taken for what was kept, unless it is.
func FuzzDamagedCache(f *testing.F) {
	c := Open(f.TempDir(), DefaultLimit)
	write(f, c, "p", sine(300))
	proxy, err := os.ReadFile(c.path(someone, "p"))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(proxy)
	f.Add(proxy[:100])
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, b []byte) {
		c := Open(t.TempDir(), DefaultLimit)
		write(t, c, "p", sine(300))
		if err := c.SaveBytes(someone, "x", []byte("kept")); err != nil {
			t.Fatal(err)
		}
		for _, name := range []string{"p", "x"} {
			if err := os.WriteFile(c.path(someone, name), b, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		if got := c.LoadBytes(someone, "x"); got != nil && string(got) != "kept" {
			t.Errorf("LoadBytes = %q", got)
		}
		p, err := c.OpenProxy(someone, "p", 300)
		if err == nil {
			err = p.ReadAt(make([]float32, 300), 0)
			p.Close()
			if err == nil && !bytes.Equal(b, proxy) {
				t.Error("ReadAt takes what was never written")
			}
		}
	})
}

// Identities follow the content and the time; fingerprints the content alone.
// Nothing but a plain file has one, and nothing else is waited for.
func TestIdentities(t *testing.T) {
	dir := t.TempDir()
	a, b := filepath.Join(dir, "a"), filepath.Join(dir, "b")
	then := time.Unix(1700000000, 0)
	for _, p := range []string{a, b} {
		if err := os.WriteFile(p, sineBytes(300000), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(p, then, then); err != nil {
			t.Fatal(err)
		}
	}
	of := func(f func(string) (Identity, error), path string) Identity {
		id, err := f(path)
		if err != nil || len(id) != 32 {
			t.Fatalf("%s: %q, %v", path, id, err)
		}
		return id
	}
	if of(Identify, a) != of(Identify, b) || of(Fingerprint, a) != of(Fingerprint, b) {
		t.Error("copies with the same time differ")
	}
	before := of(Identify, b)
	os.Chtimes(b, then, then.Add(time.Second))
	if of(Identify, b) == before || of(Fingerprint, a) != of(Fingerprint, b) {
		t.Error("the time of change must tell identities apart, and fingerprints not")
	}
	for _, at := range []int{0, 150000, 299999} {
		changed := sineBytes(300000)
		changed[at] ^= 1
		if err := os.WriteFile(b, changed, 0o600); err != nil {
			t.Fatal(err)
		}
		if of(Fingerprint, a) == of(Fingerprint, b) {
			t.Errorf("a change of byte %d is not seen", at)
		}
	}
	for _, path := range []string{dir, filepath.Join(dir, "none"), os.DevNull} {
		for _, f := range []func(string) (Identity, error){Identify, Fingerprint} {
			if _, err := f(path); fault.KindOf(err) != fault.Unreadable {
				t.Errorf("%s: %v, want an error of kind Unreadable", path, err)
			}
		}
		if _, err := Digest(path); fault.KindOf(err) != fault.Unreadable {
			t.Errorf("Digest(%s): %v, want an error of kind Unreadable", path, err)
		}
	}
}

func sineBytes(n int) []byte {
	b := make([]byte, n)
	for i, v := range sine(n) {
		b[i] = byte(int8(100 * v))
	}
	return b
}
