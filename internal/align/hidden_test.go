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
	for _, tt := range []struct {
		seed uint64
		room string
	}{{7124, "one reflection"}, {7692, "one reflection"}, {9125, "one reflection"}, {9109, "33 ms"}, {9124, "36 ms"}} {
		off, f := laid(t, scene.Couple{Seed: tt.seed, Length: 60, PPM: 20, Noise: scene.Pink, SNR: 10, RT60: 0.5, DRR: -20})
		if math.Abs(off) > 0.00003 || math.Abs(off) > 4*f.MidSigma {
			t.Errorf("%s, seed %d: laid %.4f ms off, sigma %.4f", tt.room, tt.seed, off*1e3, f.MidSigma*1e3)
		}
	}
}

// A camera close to the talker and a recorder across the room, which hears one
// reflection, upside down, nearly as well as the direct sound, 2.2 ms after it.
func TestAReflectionAsHighAcrossTheRoom(t *testing.T) {
	off, f := laid(t, scene.Couple{Seed: 17044, Length: 60, PPM: 20, Noise: scene.Pink, SNR: 10, RT60: 0.5, Swapped: true})
	if math.Abs(off) > 0.000003 {
		t.Errorf("laid %.4f ms off, sigma %.4f", off*1e3, f.MidSigma*1e3)
	}
}

// The same where little else comes from the room: the reflection is half as high as
// the direct sound, and what lies behind the direct sound is its mirror image alone.
func TestOneReflectionAcrossTheRoom(t *testing.T) {
	for seed := uint64(1); seed <= 8; seed++ {
		off, f := laid(t, scene.Couple{Seed: seed, Length: 40, PPM: 20, Noise: scene.Pink, SNR: 10, RT60: 1, DRR: 8, Swapped: true})
		if math.Abs(off) > 0.000003 || math.Abs(off) > 4*f.MidSigma {
			t.Errorf("seed %d: laid %.4f ms off, sigma %.4f", seed, off*1e3, f.MidSigma*1e3)
		}
	}
}

// The same where the one reflection is higher than the direct sound, so that with
// the body mic near it would be the direct sound and the other its reflection.
func TestAReflectionHigherThanTheDirectSoundAcrossTheRoom(t *testing.T) {
	for _, seed := range []uint64{36026, 36037, 36041} {
		off, f := laid(t, scene.Couple{Seed: seed, Length: 60, PPM: 20, Noise: scene.Pink, SNR: 10, RT60: 0.5, DRR: 8, Swapped: true})
		if math.Abs(off) > 0.000003 || math.Abs(off) > 4*f.MidSigma {
			t.Errorf("seed %d: laid %.4f ms off, sigma %.4f", seed, off*1e3, f.MidSigma*1e3)
		}
	}
}

// laid measures a couple and returns by how much it is laid too late in its
// middle, seconds.
func laid(t *testing.T, c scene.Couple) (float64, *align.Found) {
	t.Helper()
	phrases, err := scene.Phrases()
	if err != nil {
		t.Fatal(err)
	}
	s := c.Scene(phrases)
	p := s.Truth()[0]
	truth := align.Alignment{Offset: p.Offset, Drift: p.Drift}
	clip, sound := s.Render(&s.Clips[0], dsp.ProxyRate), s.Render(&s.Sounds[0], dsp.ProxyRate)
	f, err := align.Find(align.Samples(clip), align.Samples(sound), align.Guess{At: c.Length / 2, Sound: truth.Sound(c.Length / 2)})
	if err != nil || f == nil {
		t.Fatalf("seed %d: not found: %v", c.Seed, err)
	}
	return f.Sound(f.Mid) - truth.Sound(f.Mid), f
}
