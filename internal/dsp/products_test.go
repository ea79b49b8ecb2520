package dsp

import (
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// Products against their definition in float64, whatever stood in acc, as this
// processor does them and as any does.
func TestProducts(t *testing.T) {
	defer func(was bool) { wide = was }(wide)
	rng := rand.New(rand.NewPCG(43, 1))
	for _, wide = range []bool{wide, false} {
		for _, n := range []int{1, 3, 4, 5, 8, 257, 16385} {
			for _, bands := range []int{3, 6, 12} {
				x, y := randomBands(rng, bands, n), randomBands(rng, bands, n)
				acc := make([]complex128, n)
				for k := range acc {
					acc[k] = complex(rng.NormFloat64(), 9)
				}
				Products(acc, x, y)
				for k, got := range acc {
					var want complex128
					for b := range x {
						want += cmplx.Conj(complex128(x[b][k])) * complex128(y[b][k])
					}
					if cmplx.Abs(got-want) > 1e-5*float64(bands) {
						t.Fatalf("wide %t, %d bands of %d: sum %d is %g, want %g", wide, bands, n, k, got, want)
					}
				}
			}
		}
	}
}

func randomBands(rng *rand.Rand, bands, n int) [][]complex64 {
	out := make([][]complex64, bands)
	for b := range out {
		out[b] = make([]complex64, n)
		for k := range out[b] {
			out[b][k] = complex(float32(rng.NormFloat64()), float32(rng.NormFloat64()))
		}
	}
	return out
}
