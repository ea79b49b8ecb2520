package scene

import (
	"math"
	"reflect"
	"testing"
)

// Heard is the truth of a pair, said for one moment, in either direction.
func TestHeardIsTheTruth(t *testing.T) {
	phrases := someTalk(t)
	s := Couple{Seed: 3, Length: 20, PPM: 40, RT60: 0.4, Noise: Pink, SNR: 10}.Scene(phrases)
	p := s.Truth()[0]
	for _, at := range []float64{0, 7, 20} {
		want := p.Offset + (1+p.Drift)*at
		got := Heard(&s.Clips[0], &s.Sounds[0], 0, at)
		if math.Abs(got-want) > 1e-9 {
			t.Errorf("at %g s: %.9f, the truth is %.9f", at, got, want)
		}
		if back := Heard(&s.Sounds[0], &s.Clips[0], 0, got); math.Abs(back-at) > 1e-9 {
			t.Errorf("there and back from %g s: %.9f", at, back)
		}
	}
}

// someTalk is recorded speech, or the test is skipped.
func someTalk(t *testing.T) []*Excerpt {
	t.Helper()
	phrases, err := Phrases()
	if err != nil {
		t.Skip("no recorded speech here")
	}
	return phrases
}

// A day holds what it promises, and the same seed gives the same.
func TestManyDay(t *testing.T) {
	phrases := someTalk(t)
	d := NewManyDay(2, phrases)
	if again := NewManyDay(2, phrases); !reflect.DeepEqual(d.Scene.Sounds[0].Clock, again.Scene.Sounds[0].Clock) || len(d.Scene.Talk) != len(again.Scene.Talk) {
		t.Error("another day from the same seed")
	}
	if len(d.Moments) != 30 {
		t.Errorf("%d moments", len(d.Moments))
	}
	talk := map[int]int{}
	for _, u := range d.Scene.Talk {
		talk[u.Talker]++
	}
	for who := range heardOnDay {
		if talk[who] == 0 {
			t.Errorf("nothing of %d is heard", who)
		}
	}
	var said, played int
	for _, m := range d.Moments {
		for _, i := range m.Clips {
			c := &d.Scene.Clips[i]
			n := 0
			for _, u := range d.Scene.Talk {
				if u.At < c.Clock.World(c.Length) && u.End() > c.Clock.Start {
					n++
				}
			}
			if n == 0 {
				t.Errorf("%s (%s) hears nothing", c.Name, m.Kind)
			}
			switch m.Kind {
			case Rehearsal:
				said = n
			case Playback:
				played = n
			}
		}
	}
	if said == 0 || played == 0 || talk[Loudspeaker] < played {
		t.Errorf("%d phrases rehearsed, %d played back of %d", said, played, talk[Loudspeaker])
	}
}

// The one shown is nearer to the camera, and each body mic to its wearer.
func TestDialogue(t *testing.T) {
	phrases := someTalk(t)
	for seed := range uint64(6) {
		s, shown := Dialogue{Seed: seed, Length: 30, Share: 0.5, Apart: 1.5, Near: 2, SNR: 15}.Scene(phrases)
		c := &s.Clips[0]
		if c.Paths[shown].Flight >= c.Paths[1-shown].Flight || c.Paths[shown].Gain <= c.Paths[1-shown].Gain {
			t.Errorf("seed %d: the one shown is not the nearer", seed)
		}
		for k := range s.Sounds {
			if p := s.Sounds[k].Paths; p[k].Flight >= p[1-k].Flight {
				t.Errorf("seed %d: mic %d is nearer to the other", seed, k)
			}
		}
		if s.Spoken(c, 0)+s.Spoken(c, 1) < 10 {
			t.Errorf("seed %d: hardly any talk", seed)
		}
	}
}
