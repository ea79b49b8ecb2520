package align

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Noise is within three tenths of its loudest, some four deviations, as seldom as
// the normal distribution's tail past 2.9 of them has it (0.4 %); a sine is
// there for 1 - 2·asin(0.7)/π of the time, 50.6 %.
func TestClipped(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	noise, sine, hard := make([]float32, 1<<16), make([]float32, 1<<16), make([]float32, 1<<16)
	for i := range noise {
		noise[i] = float32(rng.NormFloat64())
		sine[i] = float32(math.Sin(0.1 * float64(i)))
		hard[i] = max(-1, min(1, noise[i]))
	}
	for _, tt := range []struct {
		name        string
		samples     []float32
		least, most float64
	}{
		{"noise", noise, 0.001, 0.008},
		{"sine", sine, 0.500, 0.512},
		{"noise clipped at its deviation", hard, 0.47, 0.50}, // past 0.7 deviations: 48.4 %
		{"silence", make([]float32, 100), 0, 0},
	} {
		if got := clipped(tt.samples); got < tt.least || got > tt.most {
			t.Errorf("%s: %.4f, want %g to %g", tt.name, got, tt.least, tt.most)
		}
	}
}
