package align

import (
	"math"

	"earshot/internal/dsp"
)

// A farCorrelator takes windows of the clip of one size against all of the
// sound within reach of them, so that far lags lose nothing.
type farCorrelator struct {
	*correlator
	wide int // samples of a window of the clip
}

func newFarCorrelator(wide int, reach float64) *farCorrelator {
	whole := wide + 2*int(reach*dsp.ProxyRate)
	n := 1
	for n < whole {
		n *= 2
	}
	c := &farCorrelator{newCorrelator(n, reach), wide}
	c.narrow, c.taper = make([]float64, n), make([]float64, n)
	setTaper(c.narrow, (n-wide)/2, wide)
	setTaper(c.taper, (n-whole)/2, whole)
	return c
}

// take is the correlator's, with every lag held against how much sound there is
// under the window at that lag: a loud word beside a pause would otherwise make
// the lags that reach it look like a match.
func (c *farCorrelator) take(clip, sound Source, line Alignment, at float64) (window, error) {
	w, err := c.correlator.take(clip, sound, line, at)
	if err != nil {
		return w, err
	}
	for k, v := range c.y {
		if b := c.band[k]; b == 0 {
			c.y[k] = 0
		} else {
			m2 := math.Max(squared(v), 1e-30)
			scale := b / dsp.Whitens(m2)
			c.y[k] = complex(scale*real(v), scale*imag(v))
		}
	}
	y := c.fft.Inverse(c.y)
	sum := make([]float64, c.size+1)
	for i, v := range y {
		sum[i+1] = sum[i] + v*v
	}
	under := func(lag int) float64 { // samples
		lo := (c.size-c.wide)/2 + lag
		return sum[min(c.size, lo+c.wide)] - sum[max(0, lo)]
	}
	mean := sum[c.size] * float64(c.wide) / float64(c.size)
	for i := range w.r {
		w.r[i] *= float32(math.Sqrt(mean / math.Max(under((i-c.reach)/over), 0.05*mean+1e-30)))
	}
	return w, nil
}
