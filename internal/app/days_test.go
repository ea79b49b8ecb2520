package app

import (
	"context"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/media/mediatest"
	"earshot/internal/scene"
	"earshot/internal/shoot"
)

// hiss is noise that no recording matches.
func hiss(seed uint64, seconds float64) []float32 {
	rng := rand.New(rand.NewPCG(seed, 3))
	out := make([]float32, int(seconds*dsp.ProxyRate))
	for i := range out {
		out[i] = float32(0.02 * rng.NormFloat64())
	}
	return out
}

// worstOf is how far a take lies from the truth at either end of what it
// covers, seconds.
func worstOf(take shoot.Take, truth align.Alignment) float64 {
	found := align.Alignment{Offset: take.Offset, Drift: take.Drift * 1e-6}
	span := take.Spans[0].Clip
	return math.Max(math.Abs(found.Sound(span[0])-truth.Sound(span[0])), math.Abs(found.Sound(span[1])-truth.Sound(span[1])))
}

func marryAll(t *testing.T, a *App, opt MarryOptions) *MarryResult {
	t.Helper()
	r, err := a.Marry(context.Background(), opt)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The second track of either file carries the match: it is found there, the
// finished clip is made of it and proven against it.
func TestSecondTracksCarryTheMatch(t *testing.T) {
	a, _ := newSwiftApp(t)
	dir, to := t.TempDir(), t.TempDir()
	l := lesson()
	p := l.scene.Truth()[0]
	scratch, good := l.clips[p.Clip], l.sounds[p.Sound]
	clip := tracked(clipOf(dsp.ProxyRate, 1, scratch), true, dsp.ProxyRate, 1, hiss(1, float64(len(scratch))/dsp.ProxyRate))
	sound := tracked(soundFile(dsp.ProxyRate, 1, good), true, dsp.ProxyRate, 2, make([]float32, 2*len(good)))
	writeFake(t, filepath.Join(dir, "C0001.MP4"), clip)
	writeFake(t, filepath.Join(dir, "r1.wav"), sound)
	r := marryAll(t, a, MarryOptions{Paths: []string{dir}, To: to})
	if len(r.Clips) != 1 || r.Clips[0].State != Written || r.Clips[0].Proof.State != InSync {
		t.Fatalf("%+v", r.Clips)
	}
	take := r.Clips[0].Take
	if e := worstOf(take, align.Alignment{Offset: p.Offset, Drift: p.Drift}) * 1e3; e > demoLimit {
		t.Errorf("off by %.3f ms", e)
	}
	why := strings.Join(take.Why, "; ")
	if !strings.Contains(why, "the clip's sound track 2 of 2") || !strings.Contains(why, "the sound's track 2 of 2") {
		t.Errorf("why %q", why)
	}
	info, err := a.Engine.Probe(context.Background(), r.Clips[0].Out)
	if err != nil || len(info.Sounds) != 3 || info.Sounds[0].Channels != 1 {
		t.Errorf("written %+v (%v), want the good mono track and both of the clip's", info.Sounds, err)
	}
}

// A clip that two recorders heard stands in two takes; it is married once, with
// the recorder that covers more, and the other is told of.
func TestClipHeardByTwoSounds(t *testing.T) {
	a, _ := newSwiftApp(t)
	dir, to := t.TempDir(), t.TempDir()
	clip, sound, truth := writeTake(t, dir)
	good := lesson().sounds[lesson().scene.Truth()[0].Sound]
	// The second recorder starts 0.75 s later, runs 60 ppm slow of the first, and
	// stops 6 s into the clip.
	second := align.Alignment{Offset: truth.Offset - 0.75, Drift: truth.Drift - 60e-6}
	n := int((second.Offset + 6) * dsp.ProxyRate)
	other := filepath.Join(dir, "SECOND", "z1.wav")
	writeFake(t, other, soundFile(dsp.ProxyRate, 1, dsp.Resample(good, 1,
		truth.Sound(second.Clip(0))*dsp.ProxyRate, (1+truth.Drift)/(1+second.Drift), n)))
	r := marryAll(t, a, MarryOptions{Paths: []string{dir}, To: to})
	doc := r.Pair.Document
	if len(doc.Takes) != 2 || len(doc.Alone)+len(doc.Failed) != 0 {
		t.Fatalf("%d takes, %d alone, want both sounds in a take", len(doc.Takes), len(doc.Alone))
	}
	for _, take := range doc.Takes {
		want := map[string]align.Alignment{sound: truth, other: second}[take.Sound]
		mid := (take.Spans[0].Clip[0] + take.Spans[0].Clip[1]) / 2
		e := math.Abs(take.Offset+(1+take.Drift*1e-6)*mid-want.Sound(mid)) * 1e3 // six seconds do not tell their drift
		if take.Clip != clip || take.Verdict != shoot.Sure || e > demoLimit {
			t.Errorf("%s: %s, off by %.3f ms in the middle", take.Sound, take.Verdict, e)
		}
	}
	if len(r.Clips) != 1 || r.Clips[0].Sound != sound || r.Clips[0].State != Written {
		t.Fatalf("%+v, want one clip with the sound that covers it all", r.Clips)
	}
	if why := strings.Join(r.Clips[0].Why, " "); !strings.Contains(why, "also heard by") || !strings.Contains(why, "z1.wav") {
		t.Errorf("why %q", why)
	}
}

// Two cards with the same names, an alien file in the way: every clip gets a
// name of its own, keeps it in later runs, and what is not ours stays.
func TestNamesOfTwoCards(t *testing.T) {
	a, _ := newSwiftApp(t)
	dir, to := t.TempDir(), t.TempDir()
	l := lesson()
	for i, card := range []string{"CARD_A", "CARD_B"} {
		writeFake(t, filepath.Join(dir, card, "C0001.MP4"), mediatest.Clip(picture, dsp.ProxyRate, 1, time.Time{}, l.clips[i], []byte(card)))
	}
	for i, s := range l.sounds {
		writeFake(t, filepath.Join(dir, l.scene.Sounds[i].Name), soundFile(dsp.ProxyRate, 1, s))
	}
	alien := filepath.Join(to, "C0001_married.mov")
	writeFake(t, alien, clipOf(dsp.ProxyRate, 1, make([]float32, 100)))
	before, _ := os.ReadFile(alien)
	opt := MarryOptions{Paths: []string{dir}, To: to}
	first := marryAll(t, a, opt)
	names := map[string]string{}
	for _, c := range first.Clips {
		if c.State != Written {
			t.Fatalf("%s: %s %s", c.Clip, c.State, c.Error)
		}
		names[filepath.Base(filepath.Dir(c.Clip))] = filepath.Base(c.Out)
	}
	if names["CARD_A"] != "CARD_A_C0001_married.mov" || names["CARD_B"] != "CARD_B_C0001_married.mov" {
		t.Errorf("names %v", names)
	}
	if now, _ := os.ReadFile(alien); string(now) != string(before) {
		t.Error("a file that is not ours was written over")
	}
	for _, paths := range [][]string{{dir}, {filepath.Join(dir, "CARD_B"), filepath.Join(dir, "PHONE")}} {
		opt.Paths = paths
		for _, c := range marryAll(t, a, opt).Clips {
			if c.State != Kept || filepath.Base(c.Out) != names[filepath.Base(filepath.Dir(c.Clip))] {
				t.Errorf("again with %d paths: %s is %s as %s", len(paths), c.Clip, c.State, c.Out)
			}
		}
	}
}

// What stands there already is kept while it is right, left and told of when
// other options would make it otherwise, and made anew when that is asked for.
func TestMarriedAgain(t *testing.T) {
	a, fake := newSwiftApp(t)
	dir, to := t.TempDir(), t.TempDir()
	writeTake(t, dir)
	run := func(opt MarryOptions) (Married, int) {
		t.Helper()
		renders := 0
		fake.Before = func(_ context.Context, op, _ string) error {
			if op == "render" {
				renders++
			}
			return nil
		}
		opt.Paths, opt.To = []string{dir}, to
		r := marryAll(t, a, opt)
		if len(r.Clips) != 1 {
			t.Fatalf("%d clips", len(r.Clips))
		}
		return r.Clips[0], renders
	}
	first, _ := run(MarryOptions{})
	text, _ := os.ReadFile(first.Out)
	for _, tt := range []struct {
		name    string
		opt     MarryOptions
		state   string
		renders int
		word    string
	}{
		{"the same", MarryOptions{}, Kept, 0, ""},
		{"silence in gaps", MarryOptions{Gaps: "silence"}, Passed, 0, "--again"},
		{"without scratch", MarryOptions{Scratch: "drop"}, Passed, 0, "--again"},
		{"again", MarryOptions{Again: true}, Written, 1, ""},
		{"the same still", MarryOptions{}, Kept, 0, ""},
	} {
		got, renders := run(tt.opt)
		if got.State != tt.state || renders != tt.renders || !strings.Contains(strings.Join(got.Why, " "), tt.word) || got.Out != first.Out {
			t.Errorf("%s: %s, %d renders, %q as %s", tt.name, got.State, renders, got.Why, got.Out)
		}
	}
	if now, _ := os.ReadFile(first.Out); string(now) != string(text) {
		t.Error("written again from the same, it is another file")
	}
	if left, _ := filepath.Glob(filepath.Join(to, ".*")); len(left) != 0 {
		t.Errorf("left behind: %q", left)
	}
}

// A clip of one clap is unsure: passed over with a word, and married when that
// is asked for.
func TestUnsureIsMarriedOnDemand(t *testing.T) {
	a, _ := newSwiftApp(t)
	dir, to := t.TempDir(), t.TempDir()
	s := &scene.Scene{Talk: []scene.Utterance{scene.ClapAt(6, 3, 0)},
		Clips: []scene.Device{camera(2, 12)}, Sounds: []scene.Device{recorder("PHONE/r1.wav", 0, 20, 2)}}
	writeFake(t, filepath.Join(dir, "C1.MP4"), clipOf(dsp.ProxyRate, 1, s.Render(&s.Clips[0], dsp.ProxyRate)))
	writeFake(t, filepath.Join(dir, "r1.wav"), soundFile(dsp.ProxyRate, 1, s.Render(&s.Sounds[0], dsp.ProxyRate)))
	shy := marryAll(t, a, MarryOptions{Paths: []string{dir}, To: to})
	if len(shy.Clips) != 1 || shy.Clips[0].State != Passed || shy.Clips[0].Out != "" || !strings.Contains(strings.Join(shy.Clips[0].Why, " "), "unsure") {
		t.Fatalf("%+v, want it passed over", shy.Clips)
	}
	if found, _ := filepath.Glob(filepath.Join(to, "*.mov")); len(found) != 0 {
		t.Errorf("written all the same: %q", found)
	}
	bold := marryAll(t, a, MarryOptions{Paths: []string{dir}, To: to, Unsure: true})
	if c := bold.Clips[0]; c.State != Written || c.Take.Verdict != shoot.Unsure || c.Proof == nil || c.Proof.State == OutOfSync {
		t.Errorf("%s %s, %+v", c.State, c.Error, c.Proof)
	}
	holdsSchema(t, bold.Pair.Document)
}

// A clip that fails is told of and does not stop the others; nothing of it is
// left.
func TestOneClipFails(t *testing.T) {
	a, fake := newSwiftApp(t)
	dir, to := t.TempDir(), t.TempDir()
	writeLesson(t, dir)
	fake.Before = func(_ context.Context, op, path string) error {
		if op == "render" && strings.HasSuffix(path, "-0.part") {
			return os.ErrPermission
		}
		return nil
	}
	r := marryAll(t, a, MarryOptions{Paths: []string{dir}, To: to})
	states := map[string]int{}
	for _, c := range r.Clips {
		states[c.State]++
		if c.State == Broken && (c.Error == "" || c.Proof != nil) {
			t.Errorf("%+v", c)
		}
	}
	if states[Broken] != 1 || states[Written] != 3 {
		t.Errorf("states %v, want one failed and three written", states)
	}
	if left, _ := filepath.Glob(filepath.Join(to, ".*")); len(left) != 0 {
		t.Errorf("left behind: %q", left)
	}
}
