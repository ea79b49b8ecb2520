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

// Deviation is that of normal values, told from their magnitudes, which it puts in
// another order: 0.6745 of it is their median. A few large ones do not move it.
func Deviation[T float32 | float64](mags []T) T { return Median(mags) / 0.6745 }

// Median is the upper one of v, which it puts in another order; 0 of nothing.
// It is Hoare's selection: a sorted half is of no use here.
func Median[T float32 | float64](v []T) T {
	if len(v) == 0 {
		return 0
	}
	k := len(v) / 2
	for lo, hi := 0, len(v)-1; lo < hi; {
		pivot := v[lo+(hi-lo)/2]
		i, j := lo, hi
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return v[k]
		}
	}
	return v[k]
}
