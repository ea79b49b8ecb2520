package app

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/frame"
	"earshot/internal/media"
	"earshot/internal/media/mediatest"
	"earshot/internal/scene"
	"earshot/internal/shoot"
	"earshot/internal/store"
)

// The demo shoot, rendered once for all tests: at the rate at which recordings
// are compared, without codecs.
var lesson = sync.OnceValue(func() (l struct {
	scene         *scene.Scene
	clips, sounds [][]float32
}) {
	s, err := scene.Demo()
	if err != nil {
		panic(err)
	}
	l.scene = s
	for i := range s.Clips {
		l.clips = append(l.clips, s.Render(&s.Clips[i], dsp.ProxyRate))
	}
	for i := range s.Sounds {
		l.sounds = append(l.sounds, s.Render(&s.Sounds[i], dsp.ProxyRate))
	}
	return l
})

var picture = media.Picture{Codec: "h264", Width: 480, Height: 270, Rate: frame.Rate{Num: 25, Den: 1}}

// newApp is an App on the fake engine with a cache of its own.
func newApp(t *testing.T) (*App, *mediatest.Fake) {
	fake := &mediatest.Fake{}
	return &App{Engine: fake, Cache: store.Open(t.TempDir(), store.DefaultLimit)}, fake
}

// writeLesson puts the demo shoot into a folder as the fake engine's files.
func writeLesson(t *testing.T, dir string) []scene.Pair {
	t.Helper()
	l := lesson()
	for i, samples := range l.clips {
		writeFake(t, filepath.Join(dir, l.scene.Clips[i].Name), mediatest.Clip(picture, dsp.ProxyRate, 1, time.Time{}, samples, []byte{byte(i)}))
	}
	for i, samples := range l.sounds {
		writeFake(t, filepath.Join(dir, l.scene.Sounds[i].Name), mediatest.Sound(dsp.ProxyRate, 1, time.Time{}, samples))
	}
	return l.scene.Truth()
}

func writeFake(t *testing.T, path string, f mediatest.File) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := mediatest.Write(path, f); err != nil {
		t.Fatal(err)
	}
}

func TestPairFindsTheLesson(t *testing.T) {
	a, _ := newApp(t)
	dir := t.TempDir()
	truth := writeLesson(t, dir)
	result, err := a.Pair(context.Background(), PairOptions{Paths: []string{dir}})
	if err != nil {
		t.Fatal(err)
	}
	doc := result.Document
	l := lesson().scene
	for _, p := range truth {
		if !p.Together() {
			continue
		}
		clip, sound := filepath.Join(dir, l.Clips[p.Clip].Name), filepath.Join(dir, l.Sounds[p.Sound].Name)
		d := compareTake(p, clip, sound, &doc, "")
		if !d.Right {
			t.Errorf("%s with %s: %s, off by %.3f ms, want sure and within %.1f ms", l.Clips[p.Clip].Name, l.Sounds[p.Sound].Name, d.Verdict, d.WorstError, demoLimit)
		}
	}
	if len(doc.Takes) != 4 || len(doc.Alone) != 2 || len(doc.Failed) != 0 {
		t.Errorf("%d takes, %d alone, %d failed, want 4, 2, 0", len(doc.Takes), len(doc.Alone), len(doc.Failed))
	}
	for _, take := range doc.Takes {
		if take.DriftFrom == shoot.FromNone || len(take.Spans) != 1 || len(take.Why) == 0 || take.OffsetSigma <= 0 {
			t.Errorf("%s: drift from %s, %d spans, %d reasons, sigma %g", take.Clip, take.DriftFrom, len(take.Spans), len(take.Why), take.OffsetSigma)
		}
	}
}

// A second look reads no recording and says the same.
func TestPairAgainReadsNothing(t *testing.T) {
	a, fake := newApp(t)
	dir := t.TempDir()
	writeLesson(t, dir)
	first, err := a.Pair(context.Background(), PairOptions{Paths: []string{dir}})
	if err != nil {
		t.Fatal(err)
	}
	fake.Before = func(_ context.Context, op, path string) error {
		t.Errorf("second look: %s of %s", op, path)
		return nil
	}
	second, err := a.Pair(context.Background(), PairOptions{Paths: []string{dir}})
	if err != nil {
		t.Fatal(err)
	}
	for i, take := range second.Document.Takes {
		if was := first.Document.Takes[i]; take.Offset != was.Offset || take.Drift != was.Drift || take.Verdict != was.Verdict {
			t.Errorf("take %d: %+v, was %+v", i, take, was)
		}
	}
}

func TestMarryIsProven(t *testing.T) {
	a, _ := newApp(t)
	dir, to := t.TempDir(), t.TempDir()
	writeLesson(t, dir)
	result, err := a.Marry(context.Background(), MarryOptions{Paths: []string{dir}, To: to})
	if err != nil {
		t.Fatal(err)
	}
	if len(result.Clips) != 4 {
		t.Fatalf("%d clips, want 4", len(result.Clips))
	}
	for _, c := range result.Clips {
		if c.State != Written || c.Proof == nil || c.Proof.State != InSync || c.Proof.Seam.P95 > 0.5 {
			t.Errorf("%s: %s %s, proof %+v", c.Clip, c.State, c.Error, c.Proof)
		}
		before, _ := a.Engine.PictureDigest(context.Background(), c.Clip)
		after, err := a.Engine.PictureDigest(context.Background(), c.Out)
		if err != nil || before != after {
			t.Errorf("%s: picture changed (%v)", c.Clip, err)
		}
	}
	last := result.Clips[3]
	if len(last.Fills) != 1 || last.Fills[0].With != "scratch" || last.Fills[0].From < 5 {
		t.Errorf("the sound that stops early: fills %+v, want one of scratch at the end", last.Fills)
	}
	again, err := a.Marry(context.Background(), MarryOptions{Paths: []string{dir}, To: to})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range again.Clips {
		if c.State != Kept {
			t.Errorf("second run: %s is %s, want kept", c.Clip, c.State)
		}
	}
}

// finished writes a clip whose good sound lies on its scratch as lie says.
func finished(t *testing.T, path string, lie align.Alignment) {
	t.Helper()
	l := lesson()
	scratch := l.clips[0]
	p := l.scene.Truth()[0]
	true0 := align.Alignment{Offset: p.Offset, Drift: p.Drift}
	// The good sound at clip time t plays what belongs at u, with t = lie(u).
	start := true0.Sound(lie.Clip(0)) * dsp.ProxyRate
	step := (1 + true0.Drift) / (1 + lie.Drift)
	good := dsp.Resample(l.sounds[0], 1, start, step, len(scratch))
	f := mediatest.Clip(picture, dsp.ProxyRate, 1, time.Time{}, good, nil)
	s := f.Info.Sounds[0]
	s.Stream = 2
	f.Info.Sounds = append(f.Info.Sounds, s)
	f.Sounds = append(f.Sounds, scratch)
	writeFake(t, path, f)
}

func TestProveTellsTheSignAndSize(t *testing.T) {
	a, _ := newApp(t)
	for _, tt := range []struct {
		name  string
		lie   align.Alignment
		state string
		late  float64 // ms, in the middle
		drift float64 // ppm
	}{
		{"right", align.Alignment{}, InSync, 0, 0},
		{"40 ms late", align.Alignment{Offset: 0.040}, OutOfSync, 40, 0},
		{"40 ms early", align.Alignment{Offset: -0.040}, OutOfSync, -40, 0},
		{"half a second late", align.Alignment{Offset: 0.5}, OutOfSync, 500, 0},
		{"100 ppm later", align.Alignment{Offset: -100e-6 * 12, Drift: 100e-6}, OutOfSync, 0, 100},
		{"100 ppm earlier", align.Alignment{Offset: 100e-6 * 12, Drift: -100e-6}, OutOfSync, 0, -100},
	} {
		t.Run(tt.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "finished.mov")
			finished(t, path, tt.lie)
			p, err := a.Prove(context.Background(), ProveOptions{File: path})
			if err != nil {
				t.Fatal(err)
			}
			if p.State != tt.state {
				t.Errorf("state %q, want %q: %v", p.State, tt.state, p.Why)
			}
			if math.Abs(p.Late-tt.late) > 0.1+math.Abs(tt.drift)*2e-3 {
				t.Errorf("late %.3f ms, want %.3f within 0.1", p.Late, tt.late)
			}
			if math.Abs(p.Drift-tt.drift) > 1 {
				t.Errorf("drift %.2f ppm, want %.0f within 1", p.Drift, tt.drift)
			}
		})
	}
}
