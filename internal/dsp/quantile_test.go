package dsp

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// The nearest-rank method's usual example: of 15, 20, 35, 40, 50 the 5th and
// 30th percentiles are 15 and 20, the 40th 20, the 50th 35, the 100th 50 (from
// memory).
func TestQuantile(t *testing.T) {
	for q, want := range map[float64]float64{0: 15, 0.05: 15, 0.3: 20, 0.4: 20, 0.5: 35, 1: 50} {
		if got := Quantile([]float64{35, 20, 50, 15, 40}, q); got != want {
			t.Errorf("Quantile(%g) = %g, want %g", q, got, want)
		}
	}
	if got := Quantile(nil, 0.5); !math.IsNaN(got) {
		t.Errorf("Quantile of nothing = %g, want NaN", got)
	}
}

func TestMedian(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	for range 2000 {
		v := make([]float64, rng.IntN(40))
		for i := range v {
			v[i] = float64(rng.IntN(12)) // many alike
		}
		sorted := slices.Sorted(slices.Values(v))
		want := 0.0
		if len(v) > 0 {
			want = sorted[len(v)/2]
		}
		if got := Median(slices.Clone(v)); got != want {
			t.Fatalf("median of %v = %g, want %g", sorted, got, want)
		}
	}
}

// Of normal values of deviation 3, one in a hundred of which is far too large.
func TestDeviation(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	mags := make([]float64, 100_000)
	for i := range mags {
		if mags[i] = math.Abs(3 * rng.NormFloat64()); i%100 == 0 {
			mags[i] *= 1000
		}
	}
	if got := Deviation(mags); math.Abs(got-3) > 0.1 {
		t.Errorf("deviation %g, want 3", got)
	}
}
