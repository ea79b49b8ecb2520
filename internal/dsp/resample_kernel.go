package dsp

import (
	"math"
	"sync"
)

// The design figures of the resampling filters. Bands are in parts of the
// Nyquist frequency of the slower side.
const (
	resampleAttenuation = 130               // dB, Kaiser design figure
	resamplePass        = 20000.0 / 22050.0 // end of the flat band
	resamplePhases      = 1024              // kernels stored per input sample, see resampleKernel

	// Steps between these two are taken for one clock measured by another, or
	// 44.1 to 48 kHz: the wide filter serves, see NewResampler.
	resampleWideFrom, resampleWideTo = 0.9, 1.01
)

// A resampleKernel holds a low-pass h(t), t in input samples, sampled as
// phases+1 rows of taps weights. Row p serves an output that lies p/phases
// after input i, and weighs inputs i-half+1 ... i+half:
//
//	rows[p·taps + j] = h(p/phases + half - 1 - j),  taps = 2·half.
//
// Between rows the weights run straight. To a tone of ω radians per input
// sample that adds images of (ω/phases)²/2π² each, at most -129 dB for 1024
// phases and ω = 0.91π; a longer step narrows ω and needs fewer phases.
type resampleKernel struct {
	half, taps int
	shift      uint // phases = 1 << shift
	rows       []float64
}

var (
	resampleWide   = sync.OnceValue(func() *resampleKernel { return newResampleKernel(1, true) })
	resampleNarrow = sync.OnceValue(func() *resampleKernel { return newResampleKernel(1, false) })
)

// resampleKernelFor picks the filter for step input samples per output.
func resampleKernelFor(step float64) *resampleKernel {
	switch {
	case step >= resampleWideFrom && step <= resampleWideTo:
		return resampleWide()
	case step <= 1:
		return resampleNarrow()
	}
	return newResampleKernel(1/step, false)
}

// newResampleKernel designs h for a slower side with the Nyquist frequency
// scale (0 < scale ≤ 1) times that of the input:
//
//	h(t) = c·sinc(c·t)·Kaiser(t/half),  c = centre of the transition band.
//
// The wide filter falls from the pass band to its mirror image beyond
// Nyquist; the other has reached the stop band at Nyquist.
func newResampleKernel(scale float64, wide bool) *resampleKernel {
	stop := 1.0
	if wide {
		stop = 2 - resamplePass
	}
	c := scale * (resamplePass + stop) / 2
	width := scale * (stop - resamplePass) / 2 // cycles per input sample
	k := &resampleKernel{half: (KaiserLength(resampleAttenuation, width) + 1) / 2}
	k.taps = 2 * k.half
	for 1<<k.shift < resamplePhases && float64(int(1)<<k.shift) < resamplePhases*scale {
		k.shift++
	}
	phases := 1 << k.shift

	beta := KaiserBeta(resampleAttenuation)
	h := make([]float64, k.half*phases+1) // h is even: one side is enough
	for m := range h {
		t := float64(m) / float64(phases)
		h[m] = c * sinc(c*t) * kaiserAt(t/float64(k.half), beta)
	}
	k.rows = make([]float64, (phases+1)*k.taps)
	for p := 0; p <= phases; p++ {
		row := k.rows[p*k.taps:][:k.taps]
		for j := range row {
			m := p + (k.half-1-j)*phases
			row[j] = h[max(m, -m)]
		}
	}
	return k
}

// at returns the two rows around frac, a position between two inputs in units
// of 2^-64, and the place between them in [0, 1).
func (k *resampleKernel) at(frac uint64) (a, b []float64, f float64) {
	p := int(frac >> (64 - k.shift))
	f = float64(int64(frac<<k.shift>>1)) * 0x1p-63
	a = k.rows[p*k.taps:]
	return a[:k.taps], a[k.taps:][:k.taps], f
}

// blend1 is the sum of x[j]·(a[j] + f·(b[j]-a[j])). All have one even length.
// Four running sums keep the adders busy.
func blend1(x, a, b []float64, f float64) float64 {
	n := len(a)
	b, x = b[:n], x[:n]
	var s0, s1, s2, s3 float64
	j := 0
	if wide && n >= 4 {
		j = n &^ 3
		s0 = blend1Wide(&x[0], &a[0], &b[0], j, f)
	}
	for j += 3; j < n; j += 4 {
		s0 += x[j-3] * (a[j-3] + f*(b[j-3]-a[j-3]))
		s1 += x[j-2] * (a[j-2] + f*(b[j-2]-a[j-2]))
		s2 += x[j-1] * (a[j-1] + f*(b[j-1]-a[j-1]))
		s3 += x[j] * (a[j] + f*(b[j]-a[j]))
	}
	if n%4 != 0 { // two are left
		s0 += x[n-2] * (a[n-2] + f*(b[n-2]-a[n-2]))
		s1 += x[n-1] * (a[n-1] + f*(b[n-1]-a[n-1]))
	}
	return s0 + s2 + (s1 + s3)
}

// blend2 is blend1 for two signals at once, which shares the blending.
func blend2(x, y, a, b []float64, f float64) (float64, float64) {
	n := len(a)
	b, x, y = b[:n], x[:n], y[:n]
	var x0, x1, y0, y1 float64
	j := 0
	if wide && n >= 4 {
		j = n &^ 3
		x0, y0 = blend2Wide(&x[0], &y[0], &a[0], &b[0], j, f)
	}
	for j++; j < n; j += 2 {
		c0 := a[j-1] + f*(b[j-1]-a[j-1])
		c1 := a[j] + f*(b[j]-a[j])
		x0 += c0 * x[j-1]
		y0 += c0 * y[j-1]
		x1 += c1 * x[j]
		y1 += c1 * y[j]
	}
	return x0 + x1, y0 + y1
}

// fixedPoint splits v into whole and a fraction in units of 2^-64, rounding
// down; exact for 2^-11 ≤ |v| < 2^62, where float64 has no finer bits.
func fixedPoint(v float64) (whole int64, frac uint64) {
	w := math.Floor(v)
	f := v - w // in [0, 1]: 1 when v is a hair below zero
	if f >= 1 {
		return int64(w) + 1, 0
	}
	return int64(w), uint64(math.Ldexp(f, 64))
}
