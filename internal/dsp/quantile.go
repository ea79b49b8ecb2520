package dsp

import (
	"math"
	"slices"
)

// Quantile returns the value at share q (0 to 1) of v by the nearest rank; NaN
// when there is none. It sorts v.
func Quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	return v[max(0, int(math.Ceil(q*float64(len(v))))-1)]
}
