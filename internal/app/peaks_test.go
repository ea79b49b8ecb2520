package app

import (
	"bytes"
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"

	"earshot/internal/dsp"
	"earshot/internal/fault"
	"earshot/internal/store"
)

// keptFile is the one file of a name in an App's cache.
func keptFile(t *testing.T, a *App, name string) string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(a.Cache.Dir(), "recordings", "*", "*", "*", name))
	if err != nil || len(found) != 1 {
		t.Fatalf("%d files %s in the cache", len(found), name)
	}
	return found[0]
}

// Bins are those of the sound, at every level and any range of it, and the same
// when what is kept of them is damaged or gone, or the sound's own copy too.
func TestPeaksOfATrack(t *testing.T) {
	a, fake := newSwiftApp(t)
	ctx := context.Background()
	x := melody.record(dsp.ProxyRate, 70, func(s float64) float64 { return s }, 1)
	path := filepath.Join(t.TempDir(), "r1.wav")
	writeFake(t, path, soundFile(dsp.ProxyRate, 1, x))
	r := look(t, a, path)
	whole := make([][]byte, dsp.BinLevels)
	for level := range whole {
		bins, of, err := a.Peaks(ctx, r, 0, level, 0, 1<<20)
		if err != nil || of != dsp.BinCount(len(x), level) || len(bins) != of*dsp.BinBytes {
			t.Fatalf("level %d: %d bytes of %d bins, %v", level, len(bins), of, err)
		}
		span := dsp.BinSpan(level)
		for k := range of {
			part := x[k*span : min(len(x), (k+1)*span)]
			b := dsp.BinAt(bins[k*dsp.BinBytes:])
			if math.Abs(float64(b.Top())-dsp.Peak(part)*32767) > 2 || math.Abs(float64(b.RMS)-dsp.RMS(part)*32767) > 2 {
				t.Fatalf("level %d, bin %d: %+v, want a peak of %.1f and %.1f", level, k, b, dsp.Peak(part)*32767, dsp.RMS(part)*32767)
			}
		}
		whole[level] = bins
	}
	fake.Before = func(context.Context, string, string) error { return errors.New("read again") }
	same := func(what string) {
		t.Helper()
		for _, ask := range [][3]int{{0, 0, 10}, {0, 5000, 3000}, {0, 17499, 5}, {0, 17500, 5}, {0, 1 << 30, 5}, {2, 3, 0}, {6, 0, 100}} {
			of := len(whole[ask[0]]) / dsp.BinBytes
			from := min(ask[1], of)
			want := whole[ask[0]][from*dsp.BinBytes : min(of, from+ask[2])*dsp.BinBytes]
			if got, n, err := a.Peaks(ctx, r, 0, ask[0], ask[1], ask[2]); err != nil || n != of || !bytes.Equal(got, want) {
				t.Errorf("%s: %v: %d bytes of %d bins, %v; want %d of %d", what, ask, len(got), n, err, len(want), of)
			}
		}
	}
	same("kept")
	kept := keptFile(t, a, "peaks-0")
	b, err := os.ReadFile(kept)
	if err != nil {
		t.Fatal(err)
	}
	for what, damaged := range map[string][]byte{"cut": b[:len(b)-1], "empty": {}, "changed": append(append(bytes.Clone(b[:31000]), b[31000]^1), b[31001:]...)} {
		if err := os.WriteFile(kept, damaged, 0o600); err != nil {
			t.Fatal(err)
		}
		same(what)
	}
	if err := os.Remove(kept); err != nil {
		t.Fatal(err)
	}
	same("gone")
	fake.Before = nil
	for _, name := range []string{"peaks-0", "proxy-0"} {
		if err := os.Remove(keptFile(t, a, name)); err != nil {
			t.Fatal(err)
		}
	}
	same("gone with the proxy")
	if left := leftovers(t, a.Cache.Dir()); len(left) != 0 {
		t.Errorf("left behind: %q", left)
	}
}

// A cancelled ask leaves nothing behind.
func TestPeaksStopped(t *testing.T) {
	a, _ := newSwiftApp(t)
	path := filepath.Join(t.TempDir(), "r1.wav")
	writeFake(t, path, soundFile(dsp.ProxyRate, 1, melody.record(dsp.ProxyRate, 9, func(s float64) float64 { return s }, 1)))
	r := look(t, a, path)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, _, err := a.Peaks(ctx, r, 0, 0, 0, 1); !errors.Is(err, context.Canceled) || fault.KindOf(err) != fault.Cancelled {
		t.Errorf("%v, want that it was cancelled", err)
	}
	if left := leftovers(t, a.Cache.Dir()); len(left) != 0 {
		t.Errorf("left behind: %q", left)
	}
}

// What is looked at tells what it is, and is read once however many ask.
func TestLook(t *testing.T) {
	a, fake := newSwiftApp(t)
	dir := t.TempDir()
	x := melody.record(48000, 3, func(s float64) float64 { return s }, 1, 1)
	clip, sound := filepath.Join(dir, "C1.MP4"), filepath.Join(dir, "r1.wav")
	cf := clipOf(48000, 2, x)
	cf.Info.Pictures[0].Duration = 2.5
	writeFake(t, clip, cf)
	writeFake(t, sound, soundFile(48000, 1, make([]float32, 4*48000)))
	var decodes atomic.Int64
	fake.Before = func(_ context.Context, op, _ string) error {
		if op == "decode" {
			decodes.Add(1)
		}
		return nil
	}
	var group sync.WaitGroup
	for range 8 {
		group.Go(func() {
			if _, err := a.Look(context.Background(), sound); err != nil {
				t.Error(err)
			}
		})
	}
	group.Wait()
	if n := decodes.Load(); n != 1 {
		t.Errorf("read %d times", n)
	}
	c, s := look(t, a, clip), look(t, a, sound)
	if c.Kind() != "clip" || c.Length() != 2.5 || c.Path() != clip || len(c.Info().Pictures) != 1 || c.Identity() == s.Identity() || c.Identity() == "" {
		t.Errorf("the clip: %s, %g s, %q, %q", c.Kind(), c.Length(), c.Path(), c.Identity())
	}
	if tracks := c.Tracks(); len(tracks) != 1 || tracks[0] != (Track{Rate: 48000, Channels: 2, Samples: 3 * dsp.ProxyRate}) {
		t.Errorf("the clip's tracks: %+v", tracks)
	}
	if tracks := s.Tracks(); s.Kind() != "sound" || s.Length() != 4 || len(tracks) != 1 || tracks[0] != (Track{Rate: 48000, Channels: 1, Silent: true, Samples: 4 * dsp.ProxyRate}) {
		t.Errorf("the sound: %s, %g s, %+v", s.Kind(), s.Length(), tracks)
	}
}

// Who is not let in waits, or goes when it is told to.
func TestTurns(t *testing.T) {
	var turns turns
	var inside, most atomic.Int64
	var group sync.WaitGroup
	before := runtime.NumGoroutine()
	for range 20 {
		group.Go(func() {
			err := turns.take(context.Background(), "a", func() error {
				if n := inside.Add(1); n > most.Load() {
					most.Store(n)
				}
				runtime.Gosched()
				inside.Add(-1)
				return nil
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
	group.Wait()
	if most.Load() != 1 || len(turns.busy) != 0 {
		t.Errorf("%d at once, %d left", most.Load(), len(turns.busy))
	}
	want := errors.New("its own")
	err := turns.take(context.Background(), "a", func() error {
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		if err := turns.take(ctx, "a", func() error { return nil }); !errors.Is(err, context.Canceled) {
			t.Errorf("who was told to go: %v", err)
		}
		return turns.take(ctx, "b", func() error { return want })
	})
	if err != want {
		t.Errorf("%v, want the function's own error", err)
	}
	settles(t, before)
}

// BenchmarkPeaksOfAProxy tells what bins cost beside reading what they are made
// of: an hour's proxy read alone, and read and made into bins.
func BenchmarkPeaksOfAProxy(b *testing.B) {
	cache := store.Open(b.TempDir(), store.DefaultLimit)
	w, err := cache.CreateProxy("benchmark", "proxy-0")
	if err != nil {
		b.Fatal(err)
	}
	minute := melody.record(dsp.ProxyRate, 60, func(s float64) float64 { return s }, 1)
	for range 60 {
		if err := w.Write(minute); err != nil {
			b.Fatal(err)
		}
	}
	n, err := w.Close()
	if err != nil {
		b.Fatal(err)
	}
	kept, err := cache.OpenProxy("benchmark", "proxy-0", n)
	if err != nil {
		b.Fatal(err)
	}
	defer kept.Close()
	b.Run("read", func(b *testing.B) {
		block := make([]float32, 1<<16)
		for b.Loop() {
			for at := 0; at < n; at += len(block) {
				if err := kept.ReadAt(block, at); err != nil {
					b.Fatal(err)
				}
			}
		}
	})
	b.Run("bins", func(b *testing.B) {
		for b.Loop() {
			if err := peaksOf(context.Background(), &proxy{Proxy: kept}, n, func([]byte) error { return nil }); err != nil {
				b.Fatal(err)
			}
		}
	})
}
