package align

import (
	"math/rand/v2"
	"slices"
	"testing"
)

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
		if got := median(slices.Clone(v)); got != want {
			t.Fatalf("median of %v = %g, want %g", sorted, got, want)
		}
	}
}
