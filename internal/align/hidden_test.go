package align_test

import (
	"math"
	"testing"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/scene"
)

// Rooms from which a hundred times as much comes as straight, made of image
// sources (Allen & Berkley 1979), so that the direct sound's place is known: it
// counts where one reflection stands alone and far above it, where the highest
// is 33 and 36 ms late, and the sigma holds.
func TestADirectSoundFarBelowItsReflections(t *testing.T) {
	phrases, err := scene.Phrases()
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		seed uint64
		room string
	}{{7124, "one reflection"}, {7692, "one reflection"}, {9125, "one reflection"}, {9109, "33 ms"}, {9124, "36 ms"}} {
		c := scene.Couple{Seed: tt.seed, Length: 60, PPM: 20, Noise: scene.Pink, SNR: 10, RT60: 0.5, DRR: -20}
		s := c.Scene(phrases)
		p := s.Truth()[0]
		truth := align.Alignment{Offset: p.Offset, Drift: p.Drift}
		clip, sound := s.Render(&s.Clips[0], dsp.ProxyRate), s.Render(&s.Sounds[0], dsp.ProxyRate)
		f, err := align.Find(align.Samples(clip), align.Samples(sound), align.Guess{At: 30, Sound: truth.Sound(30)})
		if err != nil || f == nil {
			t.Fatalf("%s, seed %d: not found: %v", tt.room, tt.seed, err)
		}
		off := f.Sound(f.Mid) - truth.Sound(f.Mid)
		if math.Abs(off) > 0.00003 || math.Abs(off) > 4*f.MidSigma {
			t.Errorf("%s, seed %d: laid %.4f ms off, sigma %.4f", tt.room, tt.seed, off*1e3, f.MidSigma*1e3)
		}
	}
}
