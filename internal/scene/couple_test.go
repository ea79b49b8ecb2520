package scene

import (
	"math"
	"testing"
)

// The truth of a couple is what was asked for, and the sound covers the clip.
func TestCoupleIsWhatWasAskedFor(t *testing.T) {
	phrases, err := Phrases()
	if err != nil {
		t.Fatal(err)
	}
	for seed := range uint64(4) {
		s := Couple{Seed: seed, Length: 20, PPM: -120, Noise: Pink, SNR: 5, RT60: 0.4, DRR: -7, Inverted: true}.Scene(phrases)
		p := s.Truth()[0]
		if math.Abs(p.Drift*1e6+120) > 0.1 || p.From != 0 || p.To != 20 || p.Speech < 8 || len(p.ClipClaps) != 1 {
			t.Errorf("seed %d: %+v", seed, p)
		}
		room := s.Clips[0].Paths[0].Room
		if got := room.DRR(); math.Abs(got+7) > 0.01 {
			t.Errorf("seed %d: direct-to-reverberant %.2f dB, want -7", seed, got)
		}
		if g := s.Sounds[0].Paths[0].Gain; g != -1 {
			t.Errorf("seed %d: gain %g, want inverted", seed, g)
		}
	}
}

// More noise is asked for by a smaller ratio, and comes.
func TestCoupleNoise(t *testing.T) {
	phrases, err := Phrases()
	if err != nil {
		t.Fatal(err)
	}
	level := func(snr float64) float64 {
		s := Couple{Seed: 3, Length: 5, Noise: Pink, SNR: snr, RT60: 0.3}.Scene(phrases)
		s.Talk = nil
		return rms(s.Render(&s.Clips[0], 16000))
	}
	if ratio := level(-10) / level(0); math.Abs(20*math.Log10(ratio)-10) > 0.5 {
		t.Errorf("10 dB less come out as %.2f dB more noise", 20*math.Log10(ratio))
	}
}

// Where the two change places, the camera is dry and the recorder holds the room.
func TestCoupleChangesPlaces(t *testing.T) {
	phrases, err := Phrases()
	if err != nil {
		t.Fatal(err)
	}
	c := Couple{Seed: 2, Length: 20, RT60: 0.4, DRR: -7}
	plain := c.Scene(phrases)
	c.Swapped = true
	s := c.Scene(phrases)
	if s.Clips[0].Paths[0].Room != nil || s.Sounds[0].Paths[0].Room == nil {
		t.Errorf("the clip's room %v, the sound's %v", s.Clips[0].Paths[0].Room, s.Sounds[0].Paths[0].Room)
	}
	change := s.Truth()[0].Offset - plain.Truth()[0].Offset
	flights := 2 * (plain.Clips[0].Paths[0].Flight - plain.Sounds[0].Paths[0].Flight)
	if math.Abs(change-flights) > 1e-9 {
		t.Errorf("the offset grows by %g s, want %g", change, flights)
	}
}
