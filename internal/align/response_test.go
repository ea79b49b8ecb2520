package align

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Bursts of a known shape, as measured rooms have them, with a stronger
// reflection after: the direct sound is the first top over 0.45 of what the
// burst rises to, whatever leads it or follows. (A leading one is read larger by
// the dip that the band gives the next: here 0.15 as 0.4.) What has its like after
// the highest is a filter's ringing, and none.
func TestDirectSoundInABurst(t *testing.T) {
	type path struct{ late, gain float64 } // seconds after the direct sound
	for _, tt := range []struct {
		name  string
		paths []path
	}{
		{"two tops", []path{{0, 0.8}, {170e-6, 0.75}, {0.0045, 1}}},
		{"one leads, inverted", []path{{-140e-6, -0.15}, {0, 0.8}, {170e-6, 0.7}, {0.0097, 1}}},
		{"rings on both sides", []path{{-147e-6, -0.42}, {0, 1}, {147e-6, -0.46}, {0.003, 0.6}}},
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
			f, err := Find(noisy(rng, clip, 0.01), noisy(rng, x, 0.001), Guess{At: 20, Sound: 22})
			if err != nil || f == nil {
				t.Fatal(f, err)
			}
			at := f.Sound(f.Mid) - (offset + (1+drift)*f.Mid)
			t.Logf("off by %.1f µs, sigma %.1f", at*1e6, f.MidSigma*1e6)
			if math.Abs(at) > 15e-6 {
				t.Errorf("off by %.1f µs, want within 15", at*1e6)
			}
		})
	}
}
