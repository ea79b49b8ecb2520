package scene

import (
	"math"
	"testing"
)

// Own and World undo each other, and a clock that bends by 5 ppm an hour from
// 20 ppm counts 3600·(1+22.5e-6) seconds in its first hour: ∫(1+20e-6+5e-6·x/3600) dx.
func TestBentClock(t *testing.T) {
	c := Clock{Start: 12.5, PPM: 20, Bend: 5}
	if got, want := c.Own(12.5+3600), 3600+3600*22.5e-6; math.Abs(got-want) > 1e-9 {
		t.Errorf("an hour counts as %.9f s, want %.9f", got, want)
	}
	for _, own := range []float64{0, 1, 1234.5, 7200} {
		if got := c.Own(c.World(own)); math.Abs(got-own) > 1e-9 {
			t.Errorf("own time %g s comes back as %.12g", own, got)
		}
	}
}

// A device that heard the seconds as they count: sample by sample what was
// lost is not there, and what was repeated stands twice, by hand.
func TestSplicedByHand(t *testing.T) {
	whole := []float32{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15}
	d := &Device{Losses: []Loss{{At: 4, Seconds: 3}, {At: 8, Seconds: -2}}}
	got := d.spliced(whole, 1, 12)
	want := []float32{0, 1, 2, 3, 7, 8, 9, 10, 9, 10, 11, 12}
	if len(got) != len(want) {
		t.Fatalf("%v, want %v", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Fatalf("%v, want %v", got, want)
		}
		if u := d.intact(float64(i)); u != float64(want[i]) {
			t.Errorf("file second %d stands for %g, want %g", i, u, want[i])
		}
	}
	for u, at := range map[float64]float64{3: 3, 7: 4, 9: 6, 10: 7, 11: 10, 12: 11} {
		if got, ok := d.own(u); !ok || got != at {
			t.Errorf("second %g stands at %g (%v), want %g", u, got, ok, at)
		}
	}
	if got, ok := d.own(5); ok || got != 4 {
		t.Errorf("a lost second stands at %g (%v), want the cut at 4 and false", got, ok)
	}
}

// The truth of a couple with losses and a bend, against sines in closed form:
// the sound at SoundTime is what the mouth said when the clip heard it.
func TestSoundTimeHoldsInTheSamples(t *testing.T) {
	const rate, hz = 16000, 997.0
	s := &Scene{Talk: []Utterance{{At: 1, Excerpt: tone(hz, 48000, 40)}}}
	s.Clips = []Device{{Clock: Clock{Start: 5, PPM: -30}, Length: 20, Paths: []Path{{Flight: 0.009}}}}
	s.Sounds = []Device{{Clock: Clock{Start: 2, PPM: 40, Bend: 900}, Length: 30, Paths: []Path{{Flight: 0.001}},
		Losses: []Loss{{At: 9, Seconds: 0.25}, {At: 14, Seconds: -0.125}}}}
	sound := s.Render(&s.Sounds[0], rate)
	for at := 0.5; at < 19; at += 0.37 {
		place, ok := s.SoundTime(0, 0, at)
		if !ok {
			continue
		}
		mouth := s.Clips[0].Clock.World(at) - 0.009
		want := 0.5 * math.Sin(2*math.Pi*hz*(mouth-1))
		if got := clockKernel.at(sound, place*rate); math.Abs(got-want) > 0.002 {
			t.Errorf("clip time %.2f s: the sound at %.6f s is %.4f, want %.4f", at, place, got, want)
		}
	}
	if _, ok := s.SoundTime(0, 0, 6.1); ok {
		t.Error("nothing is said to be lost at 6.1 s")
	}
}

// A couple's losses stand where they were asked for on the clip's clock.
func TestCoupleLosses(t *testing.T) {
	phrases, err := Phrases()
	if err != nil {
		t.Fatal(err)
	}
	s := Couple{Seed: 3, Length: 30, PPM: 20, SNR: 10, RT60: 0.3, Losses: []Loss{{At: 8, Seconds: 0.1}, {At: 20, Seconds: -0.05}}}.Scene(phrases)
	jump := func(at float64) float64 {
		before, _ := s.SoundTime(0, 0, at-0.3)
		after, _ := s.SoundTime(0, 0, at+0.3)
		return after - before - 0.6
	}
	for at, want := range map[float64]float64{8: -0.1, 20: 0.05, 14: 0} {
		if got := jump(at); math.Abs(got-want) > 1e-4 {
			t.Errorf("about %g s the sound jumps by %.4f s, want %.4f", at, got, want)
		}
	}
}
