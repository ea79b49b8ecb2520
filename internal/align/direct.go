package align

import (
	"math"

	"earshot/internal/dsp"
)

// direct looks for the direct sound when p may be a reflection. The camera
// hears a reflection later than the direct sound, so that against the body mic
// it lies at a smaller lag: the direct sound is the top of the largest lag.
//
// The stack along p's slope is flattened first (see flat), so that a short
// bright arrival is not lost beside a long dull one. A top of either sign then
// counts when it lies within what a room can put between the two, has two
// fifths of the greatest height, stands clear of the noise, and is no side lobe
// of a higher one. Tops that follow one another closely are one arrival, at
// the highest.
//
// It returns how much larger than p's the direct sound's lag is, seconds.
func (s *stack) direct(p peak) float64 {
	const (
		room  = 0.020   // seconds: a path 7 m longer
		after = 0.003   // seconds: p itself may be a little before its flattened top
		close = 0.00015 // seconds: 5 cm of path
		same  = 0.00003 // seconds: half a sample
	)
	flat, lobes := s.flat(p, p.delta+room+0.002)
	if flat == nil {
		return 0
	}
	tops := s.tops(flat, p.delta+room, p.delta-after)
	highest := 0.0
	for _, t := range tops {
		highest = math.Max(highest, t.height)
	}
	least := math.Max(arrival*highest, 5*s.noiseAfter(flat, p.delta+room+0.002))
	var first peak
	begun := 0.0
	for i, t := range tops {
		if first.height != 0 && begun-t.delta > close {
			break
		}
		if t.height < least || s.isLobe(t, tops[i+1:], lobes) {
			continue
		}
		if first.height == 0 {
			begun = t.delta
		}
		if t.height > first.height {
			first = t
		}
	}
	if first.height == 0 || math.Abs(first.delta-p.delta) < same {
		return 0 // the stack's own top is the better estimate of one arrival
	}
	return first.delta - p.delta
}

// tops lists the local tops of |r| between two lags, the largest lag first,
// each moved between the points.
func (s *stack) tops(r []float32, from, to float64) []peak {
	at := func(lag float64) float64 { return math.Abs(read(r, s.reach, lag)) }
	var out []peak
	prev, here := 0.0, at(from)
	for lag := from - lagStep; lag > to; lag -= lagStep {
		next := at(lag)
		if here > prev && here >= next {
			out = append(out, peak{delta: lag + lagStep + lagStep*vertex(next, here, prev), height: here})
		}
		prev, here = here, next
	}
	return out
}

// isLobe tells whether t is what the band alone makes of one of the higher
// tops that follow: lobes is how a single arrival of height 1 looks.
func (s *stack) isLobe(t peak, follow []peak, lobes []float32) bool {
	const margin, far = 1.5, 0.001 // seconds
	for _, f := range follow {
		if t.delta-f.delta > far {
			return false
		}
		if f.height > t.height && t.height < margin*f.height*math.Abs(read(lobes, s.reach, t.delta-f.delta)) {
			return true
		}
	}
	return false
}

// arrival is the share of the highest top that makes an earlier one the direct
// sound.
const arrival = 0.4

// noiseAfter is the deviation of a correlation past a lag, where no path of the
// room reaches.
func (s *stack) noiseAfter(r []float32, lag float64) float64 {
	mags := make([]float64, 0, s.reach)
	for _, v := range r[min(len(r), s.reach+int(lag/lagStep)):] {
		mags = append(mags, math.Abs(float64(v)))
	}
	return median(mags) / 0.6745
}

// flat is the stack along p's slope with its spectrum made even over stretches
// of a few hundred hertz: what is left of the talker's and the microphones'
// colour goes, what the room does stays. Frequencies count as far as they rise
// out of the noise, which the lags after quiet show, where no path of the room
// reaches; nil when there are too few of those. lobes is what a single arrival
// of height 1 looks like at lag 0. Points as in a window.
func (s *stack) flat(p peak, quiet float64) (r, lobes []float32) {
	r = make([]float32, 2*s.reach+1)
	s.sum(r, p.slope)
	from := s.reach + int(quiet/lagStep)
	if len(r) > flatSize || len(r)-from < s.reach/4 {
		return nil, nil
	}
	fft := dsp.NewFFT(flatSize)
	_, noisePower := smoothPower(fft, r[from:])
	x, power := smoothPower(fft, r)
	share := float64(len(r)) / float64(len(r)-from)
	shape := make([]complex128, len(x))
	for k := range x {
		hz := float64(k) / lagStep / flatSize
		band := ramp(hz, bandLow, 600) * ramp(hz, bandHigh, 4500)
		if power[k] <= 2*share*noisePower[k] || band == 0 {
			x[k] = 0
			continue
		}
		weight := band * (1 - share*noisePower[k]/power[k])
		shape[k] = complex(weight, 0)
		x[k] *= complex(weight/math.Sqrt(power[k]), 0)
	}
	for i, v := range fft.Inverse(x)[:len(r)] {
		r[i] = float32(v)
	}
	return r, s.centred(fft.Inverse(shape))
}

// centred turns a circular response into points as in a window, of height 1.
func (s *stack) centred(h []float64) []float32 {
	out := make([]float32, 2*s.reach+1)
	for i := range out {
		if h[0] > 0 {
			out[i] = float32(h[(i-s.reach+len(h))%len(h)] / h[0])
		}
	}
	return out
}

// flatSize is the length of the transform that flattens, in points.
const flatSize = 4096

// smoothPower returns the spectrum of r under faded ends, and its power, each
// the mean over some 400 Hz.
func smoothPower(fft *dsp.FFT, r []float32) ([]complex128, []float64) {
	const around = 24 // bins to each side, of 8 Hz
	buf := fft.Buffer()
	clear(buf)
	for i, v := range r {
		edge := math.Min(float64(i), float64(len(r)-1-i)) / float64(len(r)) * 16
		buf[i] = float64(v) * ramp(edge, 0, 1)
	}
	x := fft.Forward(nil)
	sum := make([]float64, len(x)+1)
	for k, c := range x {
		sum[k+1] = sum[k] + real(c)*real(c) + imag(c)*imag(c)
	}
	power := make([]float64, len(x))
	for k := range power {
		lo, hi := max(0, k-around), min(len(x), k+around+1)
		power[k] = (sum[hi] - sum[lo]) / float64(hi-lo)
	}
	return x, power
}
