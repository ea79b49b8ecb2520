package scene

import (
	"math"
	"testing"
)

// small is a heap for tests, with simulated rooms only.
func small(t *testing.T, kind Likeness, seed uint64) Heap {
	t.Helper()
	phrases, err := Phrases()
	if err != nil {
		t.Fatal(err)
	}
	box := Shoebox{Size: [3]float64{5, 4, 2.6}, Talker: [3]float64{1.5, 1.2, 1.5}, Mic: [3]float64{3.4, 1.9, 1.4}, RT60: 0.3}
	return Heap{Seed: seed, Kind: kind, Moments: 5, Clip: [2]float64{6, 12}, Sound: [2]float64{15, 25}, Phrases: phrases,
		Responses: []*Response{box.Response(48000)}}
}

// A heap is mostly of meetings of different moments, comes out the same each
// time, and each of its recordings lies in its own moment.
func TestHeapIsOfDifferentMoments(t *testing.T) {
	for _, kind := range Likenesses() {
		s, again := small(t, kind, 3).Scene(), small(t, kind, 3).Scene()
		together, apart := 0, 0
		for _, p := range s.Truth() {
			if p.Together() {
				together++
			} else {
				apart++
			}
		}
		if together == 0 || together > 5 || apart < 8 {
			t.Errorf("%s: %d meetings of one moment, %d of different ones", kind, together, apart)
		}
		if len(s.Talk) != len(again.Talk) || s.Clips[0].Clock != again.Clips[0].Clock {
			t.Errorf("%s: another heap the second time", kind)
		}
		if level := rms(s.Render(&s.Clips[0], 8000)); level < 1e-4 || level > 0.5 {
			t.Errorf("%s: a clip has a level of %g", kind, level)
		}
	}
}

// behind lists what the loudspeaker of a heap plays.
func behind(s *Scene) (out []Utterance) {
	for _, u := range s.Talk {
		if u.Talker == loudspeaker {
			out = append(out, u)
		}
	}
	return out
}

// What a kind has in common is the same samples, and nothing else is.
func TestHeapHasOneThingInCommon(t *testing.T) {
	for _, tt := range []struct {
		kind   Likeness
		plays  bool // something plays in the room
		common bool // the same each time
	}{
		{SameVoice, false, false}, {Retakes, false, false}, {SameMusic, true, true}, {SameSong, true, false},
		{RoomTone, true, false}, {SameMains, true, true}, {SameClaps, false, false}, {NoTalk, true, true},
	} {
		s := small(t, tt.kind, 5).Scene()
		played := map[*Excerpt]int{}
		for _, u := range behind(s) {
			played[u.Excerpt]++
		}
		if tt.plays != (len(played) > 0) || tt.plays && tt.common != (len(played) == 1) {
			t.Errorf("%s: %d pieces play in the room", tt.kind, len(played))
		}
		claps := 0
		for _, u := range s.Talk {
			if u.Clap {
				claps++
				if u.Excerpt.Samples[100] != NewClap(5).Samples[100] {
					t.Errorf("%s: a clap of its own", tt.kind)
				}
			}
		}
		if (tt.kind == SameClaps) != (claps > 0) {
			t.Errorf("%s: %d claps", tt.kind, claps)
		}
	}
}

// No phrase of a retake is said again at a speed within 0.39 %.
func TestRetakesAreAtOtherSpeeds(t *testing.T) {
	h := small(t, Retakes, 7)
	h.Moments = 24
	said := map[*Excerpt][]float64{}
	for _, u := range h.Scene().Talk {
		for _, had := range said[u.Excerpt] {
			if math.Abs(u.Speed/had-1) < 0.0036 {
				t.Fatalf("said at %.4f and at %.4f", had, u.Speed)
			}
		}
		said[u.Excerpt] = append(said[u.Excerpt], u.Speed)
	}
	most := 0
	for _, speeds := range said {
		most = max(most, len(speeds))
	}
	if most < 5 {
		t.Errorf("no phrase is said more than %d times: these are no retakes", most)
	}
}

// Mains hum stands at its base and harmonics, not between.
func TestMainsHums(t *testing.T) {
	e := mains(1, 4)
	power := func(hz float64) float64 {
		var re, im float64
		for i, v := range e.Samples[:songRate] {
			s, c := math.Sincos(2 * math.Pi * hz * float64(i) / songRate)
			re, im = re+float64(v)*c, im+float64(v)*s
		}
		return re*re + im*im
	}
	base := 50.0
	if power(60) > power(50) {
		base = 60
	}
	for _, k := range []float64{1, 2, 3} {
		if power(k*base) < 100*power((k+0.5)*base) {
			t.Errorf("at %g Hz only %.1f times what is between", k*base, power(k*base)/power((k+0.5)*base))
		}
	}
}
