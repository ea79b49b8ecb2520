package scene

import "math"

// A biquad is one recursive filter of second order, its state included.
type biquad struct {
	b, a   [2]float64 // of the last two samples that went in, and came out
	b0     float64
	in, to [2]float64
}

// butterworth is a low pass of second order, down by 3 dB at hz and by 12 dB an
// octave above, or the like high pass: the bilinear transform of the analogue
// filter (Oppenheim & Schafer, Discrete-Time Signal Processing, 7.1).
func butterworth(hz, rate float64, high bool) *biquad {
	k := math.Tan(math.Pi * hz / rate)
	norm := 1 / (1 + math.Sqrt2*k + k*k)
	f := &biquad{b0: k * k * norm, a: [2]float64{2 * (k*k - 1) * norm, (1 - math.Sqrt2*k + k*k) * norm}}
	f.b = [2]float64{2 * f.b0, f.b0}
	if high {
		f.b0 = norm
		f.b = [2]float64{-2 * norm, norm}
	}
	return f
}

func (f *biquad) next(v float64) float64 {
	out := f.b0*v + f.b[0]*f.in[0] + f.b[1]*f.in[1] - f.a[0]*f.to[0] - f.a[1]*f.to[1]
	f.in = [2]float64{v, f.in[0]}
	f.to = [2]float64{out, f.to[0]}
	return out
}

// Muffled is what cloth or a cheap capsule makes of a click: as it was between
// low and high, Hz, and 12 dB less with every octave beyond. A low of 0 leaves
// the lows alone. As any such filter it delays what it lets through; Direct is
// where speech then sees the click (see findDirect).
func Muffled(low, high float64) *Response {
	const rate, seconds = 48000, 0.05
	filters := []*biquad{butterworth(high, rate, false)}
	if low > 0 {
		filters = append(filters, butterworth(low, rate, true))
	}
	r := &Response{Name: "muffled", Rate: rate, Samples: make([]float32, seconds*rate)}
	for i := range r.Samples {
		v := 0.0
		if i == muffledLead {
			v = 1
		}
		for _, f := range filters {
			v = f.next(v)
		}
		r.Samples[i] = float32(v)
	}
	r.Direct = findDirect(r.Samples, rate)
	return r
}

// muffledLead is where the click stands in Muffled, samples: room before it
// for the kernel that reads it.
const muffledLead = 64
