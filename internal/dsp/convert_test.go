package dsp

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"testing"
)

// Values of one kind made values of another, as this processor does it and as any
// does, to the last bit.
func TestConversions(t *testing.T) {
	defer func(was bool) { wide = was }(wide)
	rng := rand.New(rand.NewPCG(63, 1))
	for _, wide = range []bool{wide, false} {
		for _, n := range []int{0, 1, 2, 3, 4, 7, 8, 9, 16, 1001} {
			src, taper, words := make([]float32, n), make([]float64, n), make([]byte, 2*n)
			pairs := make([]complex128, n)
			var greatest float32
			for i := range src {
				src[i], taper[i] = float32(rng.NormFloat64()), rng.Float64()
				pairs[i] = complex(rng.NormFloat64(), rng.NormFloat64())
				binary.LittleEndian.PutUint16(words[2*i:], uint16(rng.IntN(1<<16)))
				greatest = max(greatest, float32(math.Abs(float64(src[i]))))
			}
			tapered, widened, scaled, narrowed := make([]float64, n), make([]float64, n), make([]float32, n), make([]complex64, n)
			Tapered(tapered, src, taper)
			Widened(widened, src)
			Scaled(scaled, words, 0.37)
			Narrowed(narrowed, pairs)
			for i := range src {
				word := int16(words[2*i]) | int16(words[2*i+1])<<8
				if tapered[i] != float64(src[i])*taper[i] || widened[i] != float64(src[i]) || scaled[i] != 0.37*float32(word) || narrowed[i] != complex64(pairs[i]) {
					t.Fatalf("wide %t, %d values: the one at %d is %g, %g, %g, %g", wide, n, i, tapered[i], widened[i], scaled[i], narrowed[i])
				}
			}
			if got := Greatest(src); got != greatest {
				t.Errorf("wide %t, %d values: the greatest %g, want %g", wide, n, got, greatest)
			}
		}
	}
}
