package align

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Bursts of a known shape, as measured rooms have them, with a stronger
// reflection after: the direct sound is the first top over 0.45 of what the
// burst rises to, whatever leads it or follows. (A leading one is read larger by
// the dip that the band gives the next: here 0.15 as 0.4.)
func TestDirectSoundInABurst(t *testing.T) {
	type path struct{ late, gain float64 } // seconds after the direct sound
	for _, tt := range []struct {
		name  string
		paths []path
	}{
		{"two tops", []path{{0, 0.8}, {170e-6, 0.75}, {0.0045, 1}}},
		{"one leads, inverted", []path{{-140e-6, -0.15}, {0, 0.8}, {170e-6, 0.7}, {0.0097, 1}}},
		{"swings back", []path{{0, 0.95}, {125e-6, -1}, {0.003, 0.6}}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(4, 4))
			const n, offset, drift = 16000 * 40, 2.000123, 31e-6
			x := talk(rng, n+16000*5)
			clip := make([]float64, n)
			for _, p := range tt.paths {
				for i, v := range heard(x, n, Alignment{Offset: offset - p.late, Drift: drift}) {
					clip[i] += p.gain * v
				}
			}
			liesRight(t, noisy(rng, clip, 0.01), noisy(rng, x, 0.001), Alignment{Offset: offset, Drift: drift})
		})
	}
}

// A camera that hears little but a part of the band, the same way forward and
// back: its filter rings before the direct sound as it does after.
func TestAFilterThatRings(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	const n, offset, drift, half = 16000 * 40, 2.000123, 31e-6, 9
	x := talk(rng, n+16000*5)
	low := func(hz, at float64) float64 { return hz / 8000 * sincTap(hz/8000*at, half) }
	dull := make([]float64, len(x))
	for i := half; i < len(x)-half; i++ {
		for j := -half + 1; j < half; j++ {
			dull[i] += (low(5000, float64(j)) - low(1000, float64(j))) * x[i-j]
		}
	}
	clip := heard(dull, n, Alignment{Offset: offset, Drift: drift})
	liesRight(t, noisy(rng, clip, 0.001), noisy(rng, x, 0.001), Alignment{Offset: offset, Drift: drift})
}

// liesRight finds a clip of forty seconds in sound and wants it within 15 µs of
// the truth.
func liesRight(t *testing.T, clip, sound Source, truth Alignment) {
	t.Helper()
	f, err := Find(clip, sound, Guess{At: 20, Sound: 22})
	if err != nil || f == nil {
		t.Fatal(f, err)
	}
	at := f.Sound(f.Mid) - truth.Sound(f.Mid)
	t.Logf("off by %.1f µs, sigma %.1f", at*1e6, f.MidSigma*1e6)
	if math.Abs(at) > 15e-6 {
		t.Errorf("off by %.1f µs, want within 15", at*1e6)
	}
}
