package align_test

import (
	"math"
	"testing"

	"earshot/internal/scene"
)

// A body mic under cloth, 12 dB an octave down from some pitch on: the truth is
// where speech sees a click behind such a filter (scene.Muffled, held against the
// closed form of Oppenheim & Schafer 7.1 there). Which of the two microphones is
// muffled, and how its poles are, is all one.
func TestAMuffledMicrophoneIsNotEarly(t *testing.T) {
	couple := func(low, high float64) scene.Couple {
		return scene.Couple{Length: 40, PPM: 20, Noise: scene.Pink, SNR: 10, RT60: 0.5, Band: [2]float64{low, high}}
	}
	camera, inverted := couple(0, 2000), couple(0, 2000)
	camera.Swapped, inverted.Inverted = true, true
	for _, tt := range []struct {
		what string
		c    scene.Couple
		most float64 // seconds
	}{
		{"from 4000 Hz up", couple(0, 4000), 0.8e-6},
		{"from 2000 Hz up", couple(0, 2000), 4e-6},
		{"from 1000 Hz up", couple(0, 1000), 25e-6},
		{"from 700 Hz up", couple(0, 700), 40e-6},
		{"beyond 300 and 3400 Hz", couple(300, 3400), 1.2e-6},
		{"the camera's", camera, 4e-6},
		{"inverted", inverted, 4e-6},
	} {
		for tt.c.Seed = 71001; tt.c.Seed < 71004; tt.c.Seed++ {
			off, f := laid(t, tt.c)
			if math.Abs(off) > tt.most || math.Abs(off) > 3*f.MidSigma {
				t.Errorf("%s, seed %d: laid %.4f ms off, sigma %.4f", tt.what, tt.c.Seed, off*1e3, f.MidSigma*1e3)
			}
		}
	}
}
