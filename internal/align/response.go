package align

import (
	"math"

	"earshot/internal/dsp"
)

// A response gathers what turns the body mic's sound into the camera's: the sum
// over all windows of their cross-spectra, not whitened, and of the power of
// the sound. One over the other is the room's response, mirrored: a path that
// takes longer lies at a smaller lag.
type response struct {
	cross []complex128
	power []float64
}

func newResponse(size int) response {
	return response{make([]complex128, size/2+1), make([]float64, size/2+1)}
}

// firstTop returns the lag of the direct sound within a burst from lag first
// down to lag last, seconds: the first top over half of what the burst rises
// to, below the top of the band. Nothing is said where the response is lost in
// noise.
func (h *response) firstTop(first, last float64) (lag float64, ok bool) {
	const (
		before = 0.0003 // seconds: 10 cm; what leads the burst and is as loud is part of it
		after  = 0.0001 // seconds
		over   = 0.5    // of what the burst rises to
		fine   = 4      // steps of a sample
		lost   = 8      // deviations of the noise that the burst must rise to
	)
	r := h.lags()
	at := func(i int) float64 { return readCircular(r, float64(i)/fine) }
	lo := int(math.Floor((last - after) * dsp.ProxyRate * fine))
	hi := int(math.Ceil((first + before) * dsp.ProxyRate * fine))
	top := 0.0
	for i := lo; i <= hi; i++ {
		top = math.Max(top, math.Abs(at(i)))
	}
	if top < lost*noiseOf(r) {
		return 0, false
	}
	i := hi
	for i > lo && math.Abs(at(i)) <= over*top {
		i--
	}
	for i > lo && math.Abs(at(i-1)) > math.Abs(at(i)) {
		i--
	}
	off := vertex(math.Abs(at(i-1)), math.Abs(at(i)), math.Abs(at(i+1)))
	return (float64(i) + math.Max(-0.5, math.Min(0.5, off))) / fine / dsp.ProxyRate, true
}

// lags is the response by lag in samples, circular. Frequencies that the sound
// hardly holds are held down, so that their noise stays small (Wiener's
// deconvolution).
func (h *response) lags() []float64 {
	size := 2 * (len(h.power) - 1)
	smooth, most := smoothed(h.power, 400*size/dsp.ProxyRate), 0.0
	for _, v := range smooth {
		most = math.Max(most, v)
	}
	x := make([]complex128, len(h.cross))
	for k, g := range h.cross {
		hz := float64(k) * dsp.ProxyRate / float64(size)
		if band := ramp(hz, bandLow, bandLowFull) * ramp(hz, bandHigh, bandHighFull); band > 0 && most > 0 {
			x[k] = g * complex(band/(h.power[k]+1e-4*most+1e-2*smooth[k]), 0)
		}
	}
	fft := dsp.NewFFT(size)
	return fft.Inverse(x)
}

// smoothed is the mean of v over width neighbours.
func smoothed(v []float64, width int) []float64 {
	sum := make([]float64, len(v)+1)
	for i, x := range v {
		sum[i+1] = sum[i] + x
	}
	out := make([]float64, len(v))
	for i := range out {
		lo, hi := max(0, i-width/2), min(len(v), i+width/2+1)
		out[i] = (sum[hi] - sum[lo]) / float64(hi-lo)
	}
	return out
}

// readCircular interpolates a circular signal at x samples.
func readCircular(r []float64, x float64) float64 {
	const half = 16
	first := int(math.Floor(x)) - half + 1
	var v float64
	for j := first; j < first+2*half; j++ {
		v += r[(j%len(r)+len(r))%len(r)] * sincTap(x-float64(j), half)
	}
	return v
}

// noiseOf is the deviation of a response far from lag 0, where no path of the
// room reaches: the farthest quarter of the lags.
func noiseOf(r []float64) float64 {
	return deviation(r[len(r)*3/8 : len(r)*5/8])
}

// deviation is that of values where nothing matches, from their median
// magnitude, which a few large ones do not move: 0.6745 of a normal variable's.
func deviation[T float32 | float64](v []T) float64 {
	mags := make([]float64, len(v))
	for i, x := range v {
		mags[i] = math.Abs(float64(x))
	}
	return median(mags) / 0.6745
}
