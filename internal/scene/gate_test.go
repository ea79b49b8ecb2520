package scene

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A loud tone passes the gate as it is, in its place; the noise between its
// bursts comes out about as much lower as was asked for.
func TestGate(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	const rate = 16000
	x := make([]float32, 4*rate)
	for i := range x {
		x[i] = float32(0.001 * rng.NormFloat64())
		if i/rate%2 == 1 {
			x[i] += float32(0.3 * math.Sin(0.4*float64(i)))
		}
	}
	y := gated(x, rate, 20)
	var off float64
	for i := rate + rate/4; i < 2*rate-rate/4; i++ {
		off = math.Max(off, math.Abs(float64(y[i]-x[i])))
	}
	if off > 0.01 {
		t.Errorf("the tone is off by %.3f", off)
	}
	quiet := 20 * math.Log10(rms(y[2*rate+rate/2:3*rate-rate/4])/rms(x[2*rate+rate/2:3*rate-rate/4]))
	if quiet > -8 || quiet < -21 {
		t.Errorf("noise comes out at %.1f dB", quiet)
	}
	for i, v := range gated(x, rate, 0) { // nothing is turned down: nothing is changed
		if math.Abs(float64(v-x[i])) > 1e-6 {
			t.Fatalf("sample %d: %g became %g", i, x[i], v)
		}
	}
}
