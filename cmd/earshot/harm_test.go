package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"earshot/internal/app"
)

// The recordings that the tests in this file copy from: a clip and the sound
// that heard it, made once.
var whole struct {
	sync.Once
	clip, sound []byte
	err         error
}

// A shoot is a folder with good recordings in it, and a cache of its own.
type shoot struct {
	t               *testing.T
	dir, cache, day string
	clip, sound     string // in day
}

// newShoot makes day/A001.mov and day/anna.wav, which belong together.
func newShoot(t *testing.T) *shoot {
	t.Helper()
	if testing.Short() {
		t.Skip("runs the whole program")
	}
	dir := t.TempDir()
	s := &shoot{t: t, dir: dir, cache: kept(t), day: filepath.Join(dir, "day")}
	whole.Do(func() {
		r := recording{early: 2, drift: 20, seconds: 20, late: math.NaN()}
		clip, sound := filepath.Join(dir, "make", "c.mov"), filepath.Join(dir, "make", "s.wav")
		if whole.err = r.write(s.cache, clip, sound); whole.err == nil {
			whole.clip, whole.err = os.ReadFile(clip)
		}
		if whole.err == nil {
			whole.sound, whole.err = os.ReadFile(sound)
		}
	})
	if whole.err != nil {
		t.Fatal(whole.err)
	}
	s.clip, s.sound = s.put("day/A001.mov", whole.clip), s.put("day/anna.wav", whole.sound)
	return s
}

// kept is a cache folder for all tests of this run, so that an engine that has
// to be compiled is compiled once.
func kept(t testing.TB) string {
	t.Helper()
	keptOnce.Do(func() { keptDir, keptErr = os.MkdirTemp("", "earshot-test-cache-") })
	if keptErr != nil {
		t.Fatal(keptErr)
	}
	return keptDir
}

var (
	keptOnce sync.Once
	keptDir  string
	keptErr  error
)

// put writes a file, read-only, below the shoot's folder.
func (s *shoot) put(name string, content []byte) string {
	s.t.Helper()
	path := filepath.Join(s.dir, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		s.t.Fatal(err)
	}
	if err := os.WriteFile(path, content, 0o444); err != nil {
		s.t.Fatal(err)
	}
	return path
}

func (s *shoot) path(name string) string { return filepath.Join(s.dir, name) }

// A said is how a run of the program ended.
type said struct {
	status   int
	out, err string
}

// run runs the program in the shoot's folder and holds every promise that is
// the same for all runs.
func (s *shoot) run(args ...string) said {
	s.t.Helper()
	before := originalsIn(s.t, s.day)
	cmd := exec.Command("earshot", append([]string{"--cache", s.cache}, args...)...)
	cmd.Dir, cmd.Env = s.dir, append(os.Environ(), "NO_COLOR=1")
	var out, stderr bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &stderr
	err := cmd.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		s.t.Fatal(err)
	}
	res := said{cmd.ProcessState.ExitCode(), out.String(), stderr.String()}
	for _, sign := range []string{"panic", "goroutine ", "mistake in earshot", "\x1b"} {
		if strings.Contains(res.out+res.err, sign) {
			s.t.Errorf("%v says %q: %s%s", args, sign, res.out, res.err)
		}
	}
	after := originalsIn(s.t, s.day)
	for name, b := range before {
		if a := after[name]; a != b {
			s.t.Errorf("%v: %s was %s and is %s", args, name, b, a)
		}
	}
	return res
}

// originalsIn describes every file below dir that was not written by us.
func originalsIn(t *testing.T, dir string) map[string]string {
	t.Helper()
	all := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() || isOurs(path) {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		b, err := os.ReadFile(path)
		if errors.Is(err, fs.ErrPermission) {
			err = nil
		}
		all[path] = fmt.Sprintf("%v %v %x", info.Mode(), info.ModTime().UnixNano(), sha256.Sum256(b))
		return err
	})
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
	return all
}

// isOurs tells what the program itself writes.
func isOurs(path string) bool {
	return strings.Contains(path, "_married") || strings.Contains(path, "married/") || strings.HasPrefix(filepath.Base(path), "report.")
}

func (s *shoot) want(res said, status int, texts ...string) {
	s.t.Helper()
	if res.status != status {
		s.t.Errorf("status %d, want %d: %s%s", res.status, status, res.out, res.err)
	}
	all := strings.Join(strings.Fields(res.out+res.err), " ") // lines may be wrapped
	for _, text := range texts {
		if !strings.Contains(all, text) {
			s.t.Errorf("nothing says %q: %s%s", text, res.out, res.err)
		}
	}
}

// files lists what stands in a folder of the shoot's.
func (s *shoot) files(dir string) []string {
	var names []string
	entries, _ := os.ReadDir(s.path(dir))
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}

func (s *shoot) wantFiles(dir string, names ...string) {
	s.t.Helper()
	if got := s.files(dir); strings.Join(got, "|") != strings.Join(names, "|") {
		s.t.Errorf("%s holds %q, want %q", dir, got, names)
	}
}

// pairs is what pair --json prints, as far as it matters here.
type pairs struct {
	Takes  []struct{ Clip, Sound, Verdict string }
	Alone  []struct{ Path, Kind string }
	Failed []struct{ Path, Error string }
}

func (s *shoot) pairs(res said) pairs {
	s.t.Helper()
	var p pairs
	if err := json.Unmarshal([]byte(res.out), &p); err != nil {
		s.t.Fatalf("%v: %s%s", err, res.out, res.err)
	}
	return p
}

// cutBefore cuts b where its box of the given name begins.
func cutBefore(t *testing.T, b []byte, box string) []byte {
	t.Helper()
	i := bytes.LastIndex(b, []byte(box))
	if i < 4 {
		t.Fatalf("no %s in it", box)
	}
	return b[:i-4]
}

// silentWAV is a WAV file with n samples of nothing.
func silentWAV(n int) []byte {
	le := func(v, bytes int) []byte {
		return []byte{byte(v), byte(v >> 8), byte(v >> 16), byte(v >> 24)}[:bytes]
	}
	head := bytes.Join([][]byte{[]byte("RIFF"), le(36+2*n, 4), []byte("WAVEfmt "), le(16, 4), le(1, 2), le(1, 2),
		le(48000, 4), le(96000, 4), le(2, 2), le(16, 2), []byte("data"), le(2*n, 4)}, nil)
	return append(head, make([]byte, 2*n)...)
}

// Every kind of bad file in one folder, beside a good take: the take is
// married, and each bad file is told of in words.
func TestBadFilesBesideAGoodTake(t *testing.T) {
	s := newShoot(t)
	s.put("day/empty.mp4", nil)
	s.put("day/text.mp4", []byte("This is no film.\n"))
	s.put("day/text.wav", []byte("Nor is this a sound.\n"))
	s.put("day/nomoov.mp4", cutBefore(t, whole.clip, "moov"))
	s.put("day/nodata.wav", silentWAV(0))
	s.put("day/silence.wav", silentWAV(480000))
	s.put("day/half.wav", whole.sound[:len(whole.sound)/2])
	if err := os.Symlink("nowhere", s.path("day/dangling.mov")); err != nil {
		t.Log("no symbolic links here: ", err)
	}
	res := s.run("marry", "day", "--to", "out")
	s.want(res, 1, "written: A001_married.mov", "the file is empty", "its index is missing", "silence", "holds no sound")
	s.wantFiles("out", "A001_married.mov", "report.json", "report.txt")

	res = s.run("pair", "--json", "day")
	p := s.pairs(res)
	told := map[string]string{}
	for _, f := range p.Failed {
		told[filepath.Base(f.Path)] = f.Error
	}
	for name, words := range map[string]string{
		"empty.mp4":  "the file is empty; copy it from the card again",
		"text.mp4":   "its index is missing", // what the ending promises is believed
		"text.wav":   "check that the file is whole and plays",
		"nomoov.mp4": "its index is missing; the camera may mend it",
		"nodata.wav": "no sound",
	} {
		if !strings.Contains(told[name], words) {
			t.Errorf("%s is told of as %q, want %q", name, told[name], words)
		}
		delete(told, name)
	}
	delete(told, "dangling.mov")
	if len(told) > 0 {
		t.Errorf("failed too: %v", told)
	}
	if res.status != 1 {
		t.Errorf("pair ends with status %d, want 1", res.status)
	}
}

// One clip or one sound alone is an answer, not an error.
func TestNothingToPairWith(t *testing.T) {
	s := newShoot(t)
	s.want(s.run("pair", s.clip), 0, "A001.mov (clip)", "there is no sound to compare it with")
	s.want(s.run("pair", s.sound), 0, "anna.wav (sound)", "there is no clip to compare it with")
	res := s.run("marry", s.clip, "--to", "out")
	s.want(res, 0, "No clip was written.")
	s.want(s.run("marry", "day/anna.wav", "--to", "out"), 0, "No clip was written.")
	s.wantFiles("out", "report.json", "report.txt")
}

// A clip that has no sound track at all stays alone; the others go on.
func TestClipWithoutSound(t *testing.T) {
	s := newShoot(t)
	mute := s.path("day/mute.mov")
	cmd := exec.Command("ffmpeg", "-v", "error", "-i", s.clip, "-an", "-c", "copy", mute)
	if said, err := cmd.CombinedOutput(); err != nil {
		t.Skipf("making a mute clip needs ffmpeg: %v %s", err, said)
	}
	s.want(s.run("pair", "day"), 0, "mute.mov (clip)", "it has no sound track to compare", "1 take: 1 sure")
}

// The same file, given again by name, by folder and by link, is one recording.
func TestGivenTwice(t *testing.T) {
	s := newShoot(t)
	if err := os.Symlink("A001.mov", s.path("day/link.mov")); err != nil {
		t.Skip("no symbolic links here: ", err)
	}
	if err := os.Symlink(".", s.path("day/loop")); err != nil {
		t.Fatal(err)
	}
	res := s.run("pair", "--json", "day", s.clip, "day", "day/link.mov", "./day/../day/anna.wav")
	if p := s.pairs(res); res.status != 0 || len(p.Takes) != 1 || len(p.Alone)+len(p.Failed) != 0 {
		t.Errorf("status %d, %+v, want one take", res.status, p)
	}
}

// A folder full of other things is passed over with one remark.
func TestManyOtherFiles(t *testing.T) {
	s := newShoot(t)
	for i := range 10000 {
		s.put(fmt.Sprintf("day/stills/IMG_%05d.JPG", i), nil)
	}
	res := s.run("pair", "day")
	s.want(res, 0, "passed over 10000 files", "1 take: 1 sure")
	if n := strings.Count(res.out+res.err, "\n"); n > 30 {
		t.Errorf("%d lines are said: %s%s", n, res.out, res.err)
	}
}

// Blanks, quotes, line breaks, emoji, a leading dash, bytes that are no UTF-8:
// a name is a name.
func TestNames(t *testing.T) {
	s := newShoot(t)
	names := []string{"a b  c.mov", `it's "it".mov`, "two\nlines.mov", "🎬👩‍🎤.mov", "-dash.mov", "100%d.mov", "a:b.mov",
		"latin\xe9.mov", "\u202etfel.mov", "{clip}.mov", "$(x)`y`;&|.mov"}
	for i, name := range names {
		// Different times keep copies of one clip apart from each other.
		path := s.put("day/"+fmt.Sprint(i)+"/"+name, whole.clip)
		then := time.Unix(1700000000+int64(i), 0)
		if err := os.Chtimes(path, then, then); err != nil {
			t.Fatal(err)
		}
	}
	os.Remove(s.clip)
	res := s.run("pair", "--json", "day")
	var p pairs
	if err := json.Unmarshal([]byte(res.out), &p); err != nil {
		t.Fatal(err, res.err)
	}
	if len(p.Takes)+len(p.Alone) != len(names) || len(p.Failed) > 0 {
		t.Errorf("%d takes, %d alone, %d failed of %d clips: %s", len(p.Takes), len(p.Alone), len(p.Failed), len(names), res.out)
	}
	res = s.run("marry", "day", "--to", "out dir/–", "--also", "unsure")
	for i, name := range names {
		stem := strings.TrimSuffix(name, ".mov")
		if _, err := os.Stat(s.path("out dir/–/" + stem + "_married.mov")); err != nil {
			t.Errorf("%d, %q: %v; %s%s", i, name, err, res.out, res.err)
		}
	}
	if strings.ContainsAny(res.out+res.err, "\u202e\x1b") {
		t.Errorf("the terminal gets a name raw: %q", res.out+res.err)
	}
}

// A file that vanishes after it was measured fails by itself.
func TestVanishesBetweenPairAndMarry(t *testing.T) {
	s := newShoot(t)
	gone := s.put("day/B001.mov", whole.clip)
	cases, shut, err := open(t.Context(), settings(s.cache))
	if err != nil {
		t.Fatal(err)
	}
	defer shut()
	res, err := cases.Marry(context.Background(), app.MarryOptions{Paths: []string{s.day}, To: s.path("out"), Unsure: true,
		Progress: func(p app.Progress) {
			if p.Step != "reading" {
				os.Remove(gone)
			}
		}})
	if err != nil {
		t.Fatal(err)
	}
	states := map[string]app.Married{}
	for _, m := range res.Clips {
		states[filepath.Base(m.Clip)] = m
	}
	if m := states["B001.mov"]; m.State != app.Broken || !strings.Contains(m.Error, "no such file") {
		t.Errorf("the clip that vanished is %s: %s", m.State, m.Error)
	}
	if m := states["A001.mov"]; m.State != app.Written {
		t.Errorf("the other clip is %s: %s", m.State, m.Error)
	}
	s.wantFiles("out", "A001_married.mov", "report.json", "report.txt")
}

// A damaged edit list puts the sound hours behind the picture, and a header
// claims a rate of 10 Hz or of 2 GHz: each is told of, none is waited for.
func TestTimesAndRatesOutOfAllMeasure(t *testing.T) {
	s := newShoot(t)
	late, err := os.ReadFile("../../internal/media/mediatest/testdata/quicktime2010_vfr_audio_edit_list.mov")
	if err != nil {
		t.Fatal(err)
	}
	// The list's first edit is empty: 16 bytes behind its name are version,
	// number of edits, and this edit's length (ISO/IEC 14496-12, 8.6.6).
	at := bytes.Index(late, []byte("elst"))
	copy(late[at+12:], []byte{0, 0xff, 0xff, 0xff})
	s.put("day/late.mov", late)
	for i, hz := range [][]byte{{10, 0, 0, 0}, {0xff, 0xff, 0xff, 0x7f}, {0xff, 0xff, 0xff, 0xff}} {
		odd := bytes.Clone(whole.sound)
		copy(odd[bytes.Index(odd, []byte("fmt "))+12:], hz)
		s.put(fmt.Sprintf("day/rate%d.wav", i), odd)
	}
	res := s.run("pair", "--json", "day")
	p := s.pairs(res)
	if res.status != 1 || len(p.Takes) != 1 || len(p.Failed) != 4 {
		t.Errorf("status %d, %d takes and %d failures, want 1, 1 and 4: %s", res.status, len(p.Takes), len(p.Failed), res.out)
	}
	s.want(res, 1, "its time stamps leap over more than a file of its size can hold")
}
