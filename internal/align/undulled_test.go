package align

import (
	"math"
	"math/rand/v2"
	"testing"

	"earshot/internal/dsp"
)

// A microphone that holds highs down and delays all pitches alike, as a filter of
// linear phase does: its top stands where it stood, whatever counts. One that is
// not dull is told from it.
func TestDullWithoutDelay(t *testing.T) {
	const n, at, half = 30 * dsp.ProxyRate, 4000, 60
	const corner = 1500.0 // Hz: a bell whose magnitude is e^(-f²/2corner²)
	bell := make([]float64, 2*half+1)
	for i := range bell {
		x := 2 * math.Pi * corner * float64(i-half) / dsp.ProxyRate
		bell[i] = math.Exp(-x*x/2) * 2 * math.Pi * corner / dsp.ProxyRate / math.Sqrt(2*math.Pi)
	}
	for seed := range uint64(4) {
		rng := rand.New(rand.NewPCG(seed, 47))
		dry := talk(rng, n+2*at)
		clip := noisy(rng, dry, 0.01)[at : at+n]
		for name, late := range map[string]int{"plain": 0, "dull": half} {
			sound := noisy(rng, dry, 1e-5)
			if late > 0 {
				sound = noisy(rng, convolved(dry, bell), 1e-5)
			}
			f, err := Find(clip, sound, Guess{At: 15, Sound: 15 + float64(at)/dsp.ProxyRate})
			if err != nil || f == nil {
				t.Fatalf("%s: %v, %v", name, f, err)
			}
			if e := f.Sound(f.Mid) - f.Mid - float64(at+late)/dsp.ProxyRate; math.Abs(e) > 1e-6 {
				t.Errorf("seed %d, %s: off by %.2f µs, sigma %.2f", seed, name, e*1e6, f.MidSigma*1e6)
			}
		}
	}
}
