package align_test

import (
	"math"
	"testing"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/scene"
)

// musicHeap is a heap behind which one recording of music plays.
func musicHeap(t *testing.T, seed uint64) *scene.Scene { return heap(t, scene.SameMusic, seed) }

func heap(t *testing.T, kind scene.Likeness, seed uint64) *scene.Scene {
	t.Helper()
	phrases, err := scene.Phrases()
	if err != nil {
		t.Fatal(err)
	}
	box := scene.Shoebox{Size: [3]float64{5, 4, 2.6}, Talker: [3]float64{1.5, 1.2, 1.5}, Mic: [3]float64{3.4, 1.9, 1.4}, RT60: 0.3}
	return scene.Heap{Seed: seed, Kind: kind, Moments: 6, Clip: [2]float64{15, 20}, Sound: [2]float64{40, 50},
		Phrases: phrases, Responses: []*scene.Response{box.Response(48000)}}.Scene()
}

// music returns when the piece that is playing at world time w began.
func music(s *scene.Scene, w float64) float64 {
	at := math.Inf(-1)
	for _, u := range s.Talk {
		if u.Talker == 1 && u.At <= w {
			at = math.Max(at, u.At)
		}
	}
	return at
}

// lead lays a clip on a sound along a and asks how far the loudest leads.
func lead(t *testing.T, s *scene.Scene, clip, sound *scene.Device, a align.Alignment) (lead float64, v *align.Voice) {
	t.Helper()
	c, x := align.Samples(s.Render(clip, dsp.ProxyRate)), align.Samples(s.Render(sound, dsp.ProxyRate))
	f := &align.Found{Alignment: a}
	f.From, f.To = a.Covered(clip.Length, sound.Length)
	v, err := align.Listen(c, x, f)
	if err != nil || v == nil {
		t.Fatal(v, err)
	}
	return v.Leads(), v
}

// Of one moment, the loudest agrees most; of two with the same music behind
// other talk, what is between the words does.
func TestListenTellsTalkFromMusic(t *testing.T) {
	s := musicHeap(t, 11)
	rights, wrongs := 0, 0
	for _, p := range s.Truth() {
		clip, sound := &s.Clips[p.Clip], &s.Sounds[p.Sound]
		a := align.Alignment{Offset: p.Offset, Drift: p.Drift}
		if !p.Together() { // laid on its music
			first := music(s, clip.Clock.Start)
			a.Offset = sound.Clock.Own(clip.Clock.Start - first + music(s, sound.Clock.Start))
			a.Drift = (sound.Clock.PPM - clip.Clock.PPM) * 1e-6
		}
		if from, to := a.Covered(clip.Length, sound.Length); to-from < 12 {
			continue
		}
		switch {
		case p.Together() && rights < 2:
			rights++
			if got, v := lead(t, s, clip, sound, a); got < 0.45 || v.Steady > 0.28 {
				t.Errorf("one moment: leads %.2f (%+v)", got, v)
			}
		case !p.Together() && wrongs < 2:
			wrongs++
			got, v := lead(t, s, clip, sound, a)
			if got >= 0.45 {
				t.Errorf("two moments: leads %.2f (%+v)", got, v)
			}
			if most := math.Max(v.Coherence[1], v.Coherence[2]); most < 4*v.Sigma[1] {
				t.Errorf("the music does not agree, which was to be tried: %+v", v)
			}
		}
	}
	if rights == 0 || wrongs == 0 {
		t.Errorf("%d of one moment and %d of two", rights, wrongs)
	}
}

// Music that is all there is to hear is steady; talk is not.
func TestListenTellsHeldTones(t *testing.T) {
	for kind, steady := range map[scene.Likeness]bool{scene.NoTalk: true, scene.SameVoice: false} {
		s := heap(t, kind, 70)
		for _, p := range s.Truth() {
			if p.Together() {
				_, v := lead(t, s, &s.Clips[p.Clip], &s.Sounds[p.Sound], align.Alignment{Offset: p.Offset, Drift: p.Drift})
				if steady && v.Steady < 0.28 || !steady && math.Abs(v.Steady) > 0.1 {
					t.Errorf("%s: %.3f", kind, v.Steady)
				}
				break
			}
		}
	}
}

// Noises that have nothing in common agree within their deviations.
func TestListenToStrangers(t *testing.T) {
	s := musicHeap(t, 3)
	a, b := align.Samples(s.Render(&s.Clips[0], dsp.ProxyRate)), make(align.Samples, 20*dsp.ProxyRate)
	for i := range b {
		b[i] = float32(math.Sin(float64(i*i%7919) * 0.7))
	}
	v, err := align.Listen(a, b, &align.Found{To: 15})
	if err != nil {
		t.Fatal(err)
	}
	for r, c := range v.Coherence {
		if math.Abs(c) > 4*v.Sigma[r] {
			t.Errorf("rank %d: %.5f, deviation %.5f", r, c, v.Sigma[r])
		}
	}
	if v, err := align.Listen(a, b, &align.Found{To: 0.1}); v != nil || err != nil {
		t.Errorf("a tenth of a second: %v, %v, want nothing", v, err)
	}
}

// Cloth that rubs on the body mic is loud in it, and no camera hears it; it is
// not music.
func TestListenTellsClothFromMusic(t *testing.T) {
	phrases, err := scene.Phrases()
	if err != nil {
		t.Fatal(err)
	}
	c := scene.Couple{Seed: 300431, Length: 40, PPM: 30, Noise: scene.Wind, SNR: 2, RT60: 1.4, DRR: -2, Cloth: -24, Gate: 12}
	s := c.Scene(phrases)
	p := s.Truth()[0]
	got, v := lead(t, s, &s.Clips[0], &s.Sounds[0], align.Alignment{Offset: p.Offset, Drift: p.Drift})
	if got < 0.45 {
		t.Errorf("leads %.2f (%+v)", got, v)
	}
	if v.Even >= 0.45 {
		t.Errorf("the cloth is not heard, which was to be tried: %+v", v)
	}
}
