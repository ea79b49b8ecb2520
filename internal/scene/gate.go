package scene

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
)

// gated is x with its quiet parts turned down by db, bin by bin and moment by
// moment, as phones suppress noise (spectral gating: spectral subtraction, S.
// Boll 1979, with a gain of one or of a floor). What a bin holds in the quiet
// fifth of the frames counts as its noise. It keeps time.
func gated(x []float32, rate int, db float64) []float32 {
	const over, quiet, hold = 5, 0.2, 0.7 // times the noise; share; of the gain, from frame to frame as it closes
	size := 1
	for size < rate/32 { // about 32 ms
		size *= 2
	}
	hop := size / 4
	frames := len(x)/hop + 5
	fft := fourier.NewFFT(size)
	spectra := make([][]complex128, frames)
	part := make([]float64, size)
	hann := func(i int) float64 { return math.Sqrt(0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(size))) }
	for k := range spectra {
		for i := range part {
			part[i] = 0
			if at := (k-3)*hop + i; at >= 0 && at < len(x) {
				part[i] = float64(x[at]) * hann(i)
			}
		}
		spectra[k] = fft.Coefficients(nil, part)
	}
	floor := decibel(-db)
	for b := range size/2 + 1 {
		mags := make([]float64, frames)
		for k := range spectra {
			mags[k] = cmplx.Abs(spectra[k][b])
		}
		noise := slices.Sorted(slices.Values(mags))[int(quiet*float64(frames))]
		gain := 1.0
		for k, m := range mags {
			goal := floor
			if m > over*noise {
				goal = 1
			}
			gain = math.Max(goal, hold*gain+(1-hold)*goal)
			spectra[k][b] *= complex(gain, 0)
		}
	}
	sum := make([]float64, len(x))
	for k := range spectra {
		fft.Sequence(part, spectra[k])
		for i, v := range part {
			if at := (k-3)*hop + i; at >= 0 && at < len(x) {
				sum[at] += v * hann(i) / float64(2*size) // four windows of sin² add up to 2
			}
		}
	}
	out := make([]float32, len(x))
	for i, v := range sum {
		out[i] = float32(max(-1, min(1, v)))
	}
	return out
}
