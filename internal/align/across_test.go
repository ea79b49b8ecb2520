package align

import (
	"math"
	"math/rand/v2"
	"testing"

	"earshot/internal/dsp"
)

// Both microphones stand across the room, and each hears a reflection of its
// own: the direct sounds are laid on each other.
func TestFarSoundsAreLaidByTheirDirectSound(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 1))
	const n, at = 20 * dsp.ProxyRate, 24000
	dry := make([]float64, n+2*at)
	for i := range dry {
		swell := math.Max(0.02, math.Sin(float64(i)/6000+2*math.Sin(float64(i)/17000)))
		dry[i] = 0.1 * swell * rng.NormFloat64()
	}
	hear := func(first, count, late int, share float64) Samples {
		out := make(Samples, count)
		for i := range out {
			out[i] = float32(dry[first+i] + 0.002*rng.NormFloat64())
			if k := first + i - late; k >= 0 {
				out[i] += float32(share * dry[k])
			}
		}
		return out
	}
	clip, sound := hear(at, n, 80, 0.6), hear(0, n+2*at, 130, 0.7)
	f, err := Find(clip, Far{sound}, Guess{At: 10, Sound: 10 + float64(at)/dsp.ProxyRate + 0.004})
	if err != nil || f == nil {
		t.Fatal(f, err)
	}
	if e := f.Sound(10) - 10 - float64(at)/dsp.ProxyRate; math.Abs(e) > 5e-6 {
		t.Errorf("off by %.1f µs", e*1e6)
	}
}
