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
// counts when it lies within what a room can put between the two, has two fifths
// of the greatest height and stands clear of the noise. Tops that follow one
// another faster than a ripple of the band are one arrival, at the highest.
//
// It returns how much larger than p's the direct sound's lag is, seconds.
func (s *stack) direct(p peak) float64 {
	const (
		room   = 0.020   // seconds: a path 7 m longer
		after  = 0.003   // seconds: p itself may be a little before its flattened top
		ripple = 0.00015 // seconds: half a period at 3300 Hz
	)
	flat := s.flat(p.slope)
	if flat == nil {
		return 0
	}
	at := func(lag float64) float64 { return read(flat, s.reach, lag) }
	highest := 0.0
	for lag := p.delta - after; lag <= p.delta+room; lag += lagStep {
		highest = math.Max(highest, math.Abs(at(lag)))
	}
	least := math.Max(arrival*highest, 5*s.noiseAfter(flat, p.delta+2*room))
	var first peak
	begun := 0.0
	prev, here := 0.0, at(p.delta+room)
	for lag := p.delta + room - lagStep; lag > p.delta-after; lag -= lagStep {
		next := at(lag)
		size := math.Abs(here)
		if size >= least && size > math.Abs(prev) && size >= math.Abs(next) {
			top := peak{lag + lagStep + lagStep*vertex(math.Abs(next), size, math.Abs(prev)), p.slope, here}
			switch {
			case first.height == 0:
				first, begun = top, top.delta
			case begun-top.delta > ripple:
				lag = math.Inf(-1)
			case size > math.Abs(first.height):
				first = top
			}
		}
		prev, here = here, next
	}
	if first.height == 0 {
		return 0
	}
	return first.delta - p.delta
}

// arrival is the share of the highest top that makes an earlier one the direct
// sound.
const arrival = 0.4

// noiseAfter is the deviation of a correlation past a lag, where no path of the
// room reaches.
func (s *stack) noiseAfter(r []float32, lag float64) float64 {
	from := min(s.reach+int(lag/lagStep), 2*s.reach-s.reach/4)
	mags := make([]float64, 0, s.reach)
	for _, v := range r[max(0, from):] {
		mags = append(mags, math.Abs(float64(v)))
	}
	return median(mags) / 0.6745
}

// flat is the stack at a slope with its spectrum made even over stretches of a
// few hundred hertz: what is left of the talker's and the microphones' colour
// goes, what the room does stays. Points as in a window.
func (s *stack) flat(slope float64) []float32 {
	const smooth = 24 // bins to each side, of 8 Hz
	r := make([]float32, 2*s.reach+1)
	s.sum(r, slope)
	fft := dsp.NewFFT(4096)
	buf := fft.Buffer()
	if len(r) > len(buf) {
		return nil
	}
	clear(buf)
	for i, v := range r {
		edge := math.Min(float64(i), float64(len(r)-1-i)) / float64(s.reach) * 8
		buf[i] = float64(v) * ramp(edge, 0, 1)
	}
	x := fft.Forward(nil)
	power := make([]float64, len(x)+1)
	for k, c := range x {
		power[k+1] = power[k] + real(c)*real(c) + imag(c)*imag(c)
	}
	for k := range x {
		hz := float64(k) / lagStep / 4096
		lo, hi := max(0, k-smooth), min(len(x), k+smooth+1)
		mean := math.Sqrt((power[hi] - power[lo]) / float64(hi-lo))
		band := ramp(hz, bandLow, 600) * ramp(hz, bandHigh, 4500)
		if mean == 0 || band == 0 {
			x[k] = 0
			continue
		}
		x[k] *= complex(band/mean, 0)
	}
	out := fft.Inverse(x)
	for i := range r {
		r[i] = float32(out[i])
	}
	return r
}
