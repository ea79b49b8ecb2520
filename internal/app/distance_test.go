package app

import (
	"context"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/media/mediatest"
)

// writeTake puts one take of the demo shoot into a folder: its first clip and
// the sound that heard it.
func writeTake(t *testing.T, dir string) (clip, sound string, truth align.Alignment) {
	t.Helper()
	l := lesson()
	p := l.scene.Truth()[0]
	clip, sound = filepath.Join(dir, "CARD", "C0001.MP4"), filepath.Join(dir, "PHONE", "r1.wav")
	writeFake(t, clip, mediatest.Clip(picture, dsp.ProxyRate, 1, time.Time{}, l.clips[p.Clip], []byte("one")))
	writeFake(t, sound, mediatest.Sound(dsp.ProxyRate, 1, time.Time{}, l.sounds[p.Sound]))
	return clip, sound, align.Alignment{Offset: p.Offset, Drift: p.Drift}
}

// laterBy measures how many samples later y holds what x holds, by the plain
// sum of products and a parabola: no part of the product's own measuring.
func laterBy(x, y []float32, most int) float64 {
	n := len(x) - 2*most
	sum := func(lag int) (s float64) {
		for i := range n {
			s += float64(x[most+i]) * float64(y[most+i+lag])
		}
		return s
	}
	best, top := 0, math.Inf(-1)
	for lag := -most + 1; lag < most; lag++ {
		if s := sum(lag); s > top {
			best, top = lag, s
		}
	}
	a, b, c := sum(best-1), top, sum(best+1)
	return float64(best) + (a-c)/(2*(a-2*b+c))
}

// Three metres at 20 °C are 8.74 ms: 3 / (343.2·sqrt(T/293.15)) s, the form of
// ISO 9613-1 (from memory). The good sound is laid so much earlier than without
// a distance, and the proof of the file is against that place. No distance and
// one of nought are the same.
func TestDistanceMovesTheSound(t *testing.T) {
	a, _ := newSwiftApp(t)
	dir := t.TempDir()
	writeTake(t, dir)
	marry := func(metres *float64, again bool, to string) Married {
		t.Helper()
		r, err := a.Marry(context.Background(), MarryOptions{Paths: []string{dir}, To: to, Distance: metres, Again: again})
		if err != nil || len(r.Clips) != 1 {
			t.Fatalf("%v, %+v", err, r)
		}
		return r.Clips[0]
	}
	to := t.TempDir()
	plain := marry(nil, false, to)
	zero, three := 0.0, 3.0
	if again := marry(&zero, false, to); again.State != Kept {
		t.Errorf("0 m: %s %v, want kept: it comes out the same", again.State, again.Why)
	}
	none := marry(&zero, false, t.TempDir())
	far := marry(&three, false, t.TempDir())
	x := soundOf(t, a, plain.Out, 0)
	if y := soundOf(t, a, none.Out, 0); len(y) != len(x) || !sameSamples(x, y) {
		t.Error("0 m is not the same as no distance")
	}
	y := soundOf(t, a, far.Out, 0)
	if len(y) != len(x) {
		t.Fatalf("%d samples, want %d", len(y), len(x))
	}
	part := func(v []float32) []float32 { return v[5*clipRate : 7*clipRate] }
	if ms := laterBy(part(x), part(y), 600) * 1e3 / clipRate; math.Abs(ms+8.74) > 0.02 {
		t.Errorf("3 m lay the sound %.3f ms later, want -8.74", ms)
	}
	if !strings.Contains(far.Laid, "8.74 ms earlier") {
		t.Errorf("laid %q", far.Laid)
	}
	for name, p := range map[string]*Proof{"its own": far.Proof, "asked for": proofOf(t, a, far.Out)} {
		if p == nil || p.State != InSync || math.Abs(p.Late) > 0.2 || !strings.Contains(strings.Join(p.Why, " "), "8.7 ms earlier on purpose") {
			t.Errorf("%s proof: %+v", name, p)
		}
	}
	if p := proofOf(t, a, plain.Out); p.State != InSync || strings.Contains(strings.Join(p.Why, " "), "on purpose") {
		t.Errorf("without a distance: %+v", p)
	}
}

// Where the scratch fills in for the good sound it lies on itself, whatever was
// done to the good sound: that says nothing, and the proof leaves it out. Here
// it plays for two thirds of the clip, at its head or its tail.
func TestProofLeavesOutTheScratchThatFillsIn(t *testing.T) {
	a, _ := newSwiftApp(t)
	l := lesson()
	p := l.scene.Truth()[0]
	second := func(s float64) int { return int(s * dsp.ProxyRate) }
	whole := l.sounds[p.Sound]
	third := float64(len(l.clips[p.Clip])) / dsp.ProxyRate / 3
	for name, sound := range map[string][]float32{
		"tail": whole[:second(p.Offset+third)],
		"head": whole[second(p.Offset+2*third):],
	} {
		dir, three := t.TempDir(), 3.0
		writeTake(t, dir)
		writeFake(t, filepath.Join(dir, "PHONE", "r1.wav"), mediatest.Sound(dsp.ProxyRate, 1, time.Time{}, sound))
		r, err := a.Marry(context.Background(), MarryOptions{Paths: []string{dir}, To: t.TempDir(), Distance: &three, Unsure: true})
		if err != nil || len(r.Clips) != 1 || len(r.Clips[0].Fills) != 1 {
			t.Fatalf("%s: %v, %+v", name, err, r)
		}
		fill := r.Clips[0].Fills[0]
		for whose, p := range map[string]*Proof{"its own": r.Clips[0].Proof, "asked for": proofOf(t, a, r.Clips[0].Out)} {
			if p == nil || p.State != InSync || math.Abs(p.Late) > 0.2 || !strings.Contains(strings.Join(p.Why, " "), "plays alone") {
				t.Fatalf("%s, %s proof: %+v", name, whose, p)
			}
			for _, w := range p.Windows {
				if w.At > fill.From && w.At < fill.To {
					t.Errorf("%s, %s proof: measured at %.1f s, where the scratch plays", name, whose, w.At)
				}
			}
		}
	}
}

func proofOf(t *testing.T, a *App, path string) *Proof {
	t.Helper()
	p, err := a.Prove(context.Background(), ProveOptions{File: path})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func sameSamples(x, y []float32) bool {
	for i := range x {
		if x[i] != y[i] {
			return false
		}
	}
	return true
}

// The married sound lies where the truth says, by a correlation of our own
// with the recording itself read along the true line.
func TestMarriedSoundLiesOnTheTruth(t *testing.T) {
	if racing {
		t.Skip("arithmetic alone; TestDistanceMovesTheSound stands in under the race detector")
	}
	a, _ := newSwiftApp(t)
	dir := t.TempDir()
	_, _, truth := writeTake(t, dir)
	r, err := a.Marry(context.Background(), MarryOptions{Paths: []string{dir}, To: t.TempDir()})
	if err != nil || len(r.Clips) != 1 || r.Clips[0].State != Written {
		t.Fatalf("%v, %+v", err, r)
	}
	got := soundOf(t, a, r.Clips[0].Out, 0)
	want := dsp.Resample(lesson().sounds[lesson().scene.Truth()[0].Sound], 1, truth.Offset*dsp.ProxyRate, (1+truth.Drift)*dsp.ProxyRate/clipRate, len(got))
	n := len(got)
	for _, at := range []int{n / 6, n / 2, n - n/6} {
		late := laterBy(want[at-clipRate:at+clipRate], got[at-clipRate:at+clipRate], 480) / clipRate
		if math.Abs(late)*1e3 > demoLimit {
			t.Errorf("at %.1f s it lies %.3f ms late, want within %.1f", float64(at)/clipRate, late*1e3, demoLimit)
		}
	}
}
