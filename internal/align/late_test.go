package align

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A reflection that comes later than the direct sound is looked for, and that
// stands higher, dull as it is: the direct sound counts all the same, in little
// noise and deep in it.
func TestALateReflectionIsNotTheDirectSound(t *testing.T) {
	rng := rand.New(rand.NewPCG(62, 1))
	const rate, late = 16000, 1000 // Hz; samples: 62.5 ms
	n := 90 * rate
	voice := talk(rng, n+2*late)
	clip := make([]float64, n)
	low := 0.0
	for i := range clip {
		low += 0.3 * (voice[i] - low) // what the wall gives back, dull
		clip[i] = voice[i+late] - 2.2*low
	}
	var power float64
	for _, v := range clip {
		power += v * v
	}
	sound := noisy(rng, voice, 0)
	for _, noise := range []float64{12, 100} { // times the power of the clip
		hidden := noisy(rng, clip, math.Sqrt(noise*power/float64(n)))
		for _, guess := range []float64{0, -0.0625} {
			f, err := Find(hidden, sound, Guess{At: 45, Sound: 45 + float64(late)/rate + guess})
			if err != nil || f == nil {
				t.Fatalf("not found: %v", err)
			}
			left := f.Sound(f.Mid) - f.Mid - float64(late)/rate
			if math.Abs(left) > 0.0001 {
				t.Errorf("noise of %g, guessed %g ms off: laid %.3f ms off, strength %.1f", noise, guess*1e3, left*1e3, f.Strength)
			}
		}
	}
}
