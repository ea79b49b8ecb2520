package scene

import (
	"math"
	"math/bits"

	"gonum.org/v1/gonum/dsp/fourier"
)

// A grid delivers one path's sound on world time's own sampling grid: index g
// is world second g/rate at the mouth, already through the room. It works
// forward in blocks (overlap-save) and keeps only what is still needed.
type grid struct {
	rate   float64
	talk   []Utterance // of one talker
	fft    *fourier.FFT
	filter []complex128
	taps   int
	lead   int // index of the direct sound within the taps
	size   int

	base int64 // grid index of kept[0]
	kept []float32
	dry  []float64
	spec []complex128
}

// newGrid prepares a path for utterances of one talker.
func newGrid(talk []Utterance, room *Response, rate, top float64) *grid {
	h, lead := room.taps(rate, top)
	size := 1 << bits.Len(uint(max(4*len(h), 1<<14)-1))
	g := &grid{rate: rate, talk: talk, fft: fourier.NewFFT(size), taps: len(h), lead: lead, size: size,
		dry: make([]float64, size), spec: make([]complex128, size/2+1)}
	padded := make([]float64, size)
	for i, v := range h {
		padded[i] = v / float64(size) // gonum's inverse is not scaled
	}
	g.filter = g.fft.Coefficients(nil, padded)
	return g
}

// span makes indices from..to (excluded) available and returns them. Calls
// must not go back before an earlier from.
func (g *grid) span(from, to int64) []float32 {
	if g.kept == nil || from > g.base+int64(len(g.kept)) {
		g.base, g.kept = from, make([]float32, 0, 2*g.size)
	}
	if drop := from - g.base; drop > 0 && len(g.kept) > g.size {
		g.kept = append(g.kept[:0], g.kept[drop:]...)
		g.base = from
	}
	for g.base+int64(len(g.kept)) < to {
		g.block(g.base + int64(len(g.kept)))
	}
	return g.kept[from-g.base : to-g.base]
}

// block appends the next run of output, starting at index start.
func (g *grid) block(start int64) {
	n := g.size - g.taps + 1
	first := start + int64(g.lead) - int64(g.taps-1)
	if !g.read(first) {
		g.kept = append(g.kept, make([]float32, n)...)
		return
	}
	g.fft.Coefficients(g.spec, g.dry)
	for i := range g.spec {
		g.spec[i] *= g.filter[i]
	}
	g.fft.Sequence(g.dry, g.spec)
	for _, v := range g.dry[g.taps-1:] {
		g.kept = append(g.kept, float32(v))
	}
}

// read fills dry with what is said from grid index first on, and says whether
// anything is.
func (g *grid) read(first int64) bool {
	clear(g.dry)
	any := false
	for i := range g.talk {
		u := &g.talk[i]
		step := u.Excerpt.Rate * u.speed() / g.rate // excerpt samples per grid sample
		begin := u.At*g.rate - float64(first)       // grid samples from dry[0]
		edge := float64(sourceKernel.half) / step
		from := max(0, int(math.Floor(begin-edge)))
		to := min(len(g.dry), int(begin+edge+float64(len(u.Excerpt.Samples))/step)+1)
		if from >= to {
			continue
		}
		any = true
		gain := factor(u.Gain)
		for k := from; k < to; k++ {
			g.dry[k] += gain * sourceKernel.at(u.Excerpt.Samples, (float64(k)-begin)*step)
		}
	}
	return any
}

// factor gives a gain of 0 its default of 1.
func factor(gain float64) float64 {
	if gain == 0 {
		return 1
	}
	return gain
}

// convolve returns the full convolution of a and b.
func convolve(a, b []float64) []float64 {
	n := len(a) + len(b) - 1
	size := 1 << bits.Len(uint(n-1))
	f := fourier.NewFFT(size)
	pad := func(x []float64) []complex128 {
		p := make([]float64, size)
		copy(p, x)
		return f.Coefficients(nil, p)
	}
	sa, sb := pad(a), pad(b)
	for i := range sa {
		sa[i] *= sb[i] * complex(1/float64(size), 0)
	}
	return f.Sequence(nil, sa)[:n]
}
