package dsp

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Slide and AddScaled against their definitions, as this processor does them and as any
// does.
func TestSlide(t *testing.T) {
	defer func(was bool) { wide = was }(wide)
	rng := rand.New(rand.NewPCG(47, 1))
	var by [SlideTaps]float32
	for j := range by {
		by[j] = float32(rng.NormFloat64())
	}
	for _, wide = range []bool{wide, false} {
		for _, n := range []int{0, 1, 7, 8, 9, 640, 1003} {
			src, dst := make([]float32, n+SlideTaps-1), make([]float32, n)
			for i := range src {
				src[i] = float32(rng.NormFloat64())
			}
			Slide(dst, src, &by)
			sum := append([]float32(nil), dst...)
			AddScaled(sum, src[:n], 0.7)
			for i, got := range sum {
				if want := dst[i] + 0.7*src[i]; math.Abs(float64(got-want)) > 1e-5 {
					t.Fatalf("wide %t, %d values: sum %d is %g, want %g", wide, n, i, got, want)
				}
			}
			for i, got := range dst {
				var want float64
				for j, w := range by {
					want += float64(w) * float64(src[i+j])
				}
				if math.Abs(float64(got)-want) > 1e-5 {
					t.Fatalf("wide %t, %d values: value %d is %g, want %g", wide, n, i, got, want)
				}
			}
		}
	}
}

// The blends against their definition, likewise.
func TestBlend(t *testing.T) {
	defer func(was bool) { wide = was }(wide)
	rng := rand.New(rand.NewPCG(53, 1))
	random := func(n int) []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = rng.NormFloat64()
		}
		return out
	}
	for _, wide = range []bool{wide, false} {
		for _, n := range []int{2, 4, 6, 8, 130, 256} {
			x, y, a, b, f := random(n), random(n), random(n), random(n), rng.Float64()
			var wantX, wantY float64
			for j := range a {
				w := a[j] + f*(b[j]-a[j])
				wantX, wantY = wantX+w*x[j], wantY+w*y[j]
			}
			gotX, gotY := blend2(x, y, a, b, f)
			for _, e := range []float64{blend1(x, a, b, f) - wantX, gotX - wantX, gotY - wantY} {
				if math.Abs(e) > 1e-12 {
					t.Errorf("wide %t, %d weights: off by %g", wide, n, e)
				}
			}
		}
	}
}
