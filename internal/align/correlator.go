package align

import (
	"math"
	"slices"
	"sync"

	"earshot/internal/dsp"
)

// The band that is compared, Hz. Below, rooms rumble and lavaliers rub; above,
// cheap codecs keep nothing. Each edge is a raised cosine.
const (
	bandLow, bandLowFull   = 120.0, 250.0
	bandHighFull, bandHigh = 6000.0, 7200.0
)

// over is how many points of a correlation stand for one sample.
const over = 2

// lagStep is the distance of two points of a correlation, seconds.
const lagStep = 1.0 / (over * dsp.ProxyRate)

// A window is the whitened correlation of one stretch of the clip with the
// sound along a line.
type window struct {
	at     float64   // clip seconds, the middle of the stretch
	r      []float32 // r[reach+i] at lag i·lagStep: the sound is heard that much later than the line says
	weight float64   // how much there is to hear, 0..1
	level  float64   // mean power of the sound in the band
	hot    float64   // see clipped: of clip or sound, whichever is more so

	spectrum dsp.Spectrum // what r is the inverse of: a match makes its bins real at its lag, and what stands across is noise
}

// A correlator takes windows of one size.
type correlator struct {
	*shape
	size        int // samples of a window
	reach       int // points on each side of lag 0
	fft         *dsp.FFT
	taper       []float64
	narrow      []float64 // the clip's taper where it is not the sound's
	clip, sound []float32
	x, y        []complex128
	half        []float64 // interpolator for the points between samples
	heard       response  // summed over the windows taken
	bare        bool      // windows come without their spectra, most of what they hold
}

func newCorrelator(size int, reach float64) *correlator {
	c := &correlator{
		shape: shapeOf(size),
		size:  size,
		reach: int(reach / lagStep),
		fft:   dsp.NewFFT(size),
		clip:  make([]float32, size),
		sound: make([]float32, size),
		half:  halfwayTaps(16),
		heard: newResponse(size),
	}
	c.narrow, c.taper = c.faded, c.faded
	return c
}

// A shape is what all correlators of one size share.
type shape struct {
	faded      []float64 // a taper over all of it
	band       []float64
	speech     []float64 // the part of the band that a voice still has at a few metres
	first, end int       // between which bins the band is
}

var shapes sync.Map // *shape, by size

func shapeOf(size int) *shape {
	if s, ok := shapes.Load(size); ok {
		return s.(*shape)
	}
	s := &shape{faded: make([]float64, size), band: make([]float64, size/2+1), speech: make([]float64, size/2+1)}
	setTaper(s.faded, 0, size)
	for k := range s.band {
		hz := float64(k) * dsp.ProxyRate / float64(size)
		low := ramp(hz, bandLow, bandLowFull)
		s.band[k] = low * ramp(hz, bandHigh, bandHighFull)
		s.speech[k] = low * ramp(hz, speechTop, speechFull)
	}
	for s.end = len(s.band); s.band[s.end-1] == 0; s.end-- {
	}
	for s.band[s.first] == 0 {
		s.first++
	}
	shapes.Store(size, s)
	return s
}

// setTaper puts a stretch of size from index from on, its ends faded over a
// tenth, into w.
func setTaper(w []float64, from, size int) {
	edge := size / 10
	for i := range size {
		w[from+i] = 1
		if d := min(i, size-1-i); d < edge {
			w[from+i] = 0.5 - 0.5*math.Cos(math.Pi*(float64(d)+0.5)/float64(edge))
		}
	}
}

// ramp goes from 0 at zero to 1 at one as a raised cosine.
func ramp(v, zero, one float64) float64 {
	x := math.Max(0, math.Min(1, (v-zero)/(one-zero)))
	return 0.5 - 0.5*math.Cos(math.Pi*x)
}

// halfwayTaps is a Hann-windowed sinc that reads a signal half a sample on;
// its n taps are for the samples -n/2+1 .. n/2.
func halfwayTaps(n int) []float64 {
	taps := make([]float64, n)
	for i := range taps {
		taps[i] = sincTap(0.5-float64(i-n/2+1), float64(n/2))
	}
	return taps
}

// sincTap is sin(πx)/πx under a Hann window that ends at ±width.
func sincTap(x, width float64) float64 {
	if math.Abs(x) >= width {
		return 0
	}
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x) * (0.5 + 0.5*math.Cos(math.Pi*x/width))
}

// take correlates the stretch of clip that is centred on clip time at with
// sound along line.
func (c *correlator) take(clip, sound Source, line Alignment, at float64) (window, error) {
	first := int(math.Round(at*dsp.ProxyRate)) - c.size/2
	if err := clip.ReadAt(c.clip, first); err != nil {
		return window{}, err
	}
	shift, err := c.readSound(sound, line, first)
	if err != nil {
		return window{}, err
	}
	w := window{at: float64(first+c.size/2) / dsp.ProxyRate, hot: math.Max(clipped(c.clip), clipped(c.sound))}
	c.x = c.transform(c.x, c.clip, c.narrow)
	c.y = c.transform(c.y, c.sound, c.taper)
	w.level = c.cross(shift)
	if !c.bare {
		w.spectrum = c.keep()
	}
	w.r = c.points(c.fft.Inverse(c.x))
	return w, nil
}

// readSound reads a window of sound along line, to a clip that begins at sample
// first, so that its middle falls on a whole sample: what short taps do wrong on
// one side of that they do the other way on the other. It returns by how many
// samples what is read is to be turned back.
func (c *correlator) readSound(sound Source, line Alignment, first int) (float64, error) {
	middle := line.Sound(float64(first+c.size/2)/dsp.ProxyRate) * dsp.ProxyRate
	moved := middle - math.Round(middle)
	line.Offset -= moved / dsp.ProxyRate
	left, err := readAlong(sound, c.sound, line, first)
	return moved + left, err
}

func (c *correlator) transform(dst []complex128, samples []float32, taper []float64) []complex128 {
	dsp.Tapered(c.fft.Buffer(), samples, taper)
	return c.fft.Forward(dst)
}

// cross replaces x by the partly whitened cross-spectrum conj(X)·Y, scaled so
// that its inverse has unit variance if the phases are random, and turned by
// shift samples. It returns the mean band power of Y.
//
// The weight is |X·Y|^-3/4, between plain correlation (0) and the phase
// transform (1); the trial behind it is in docs/accuracy.md.
func (c *correlator) cross(shift float64) float64 {
	first, end := c.first, c.end
	clear(c.x[:first])
	clear(c.x[end:])
	all := dsp.Cross{Sum: c.heard.cross[first:end], X: c.heard.other[first:end], Y: c.heard.power[first:end]}
	level, power := all.Whitened(c.x[first:end], c.y[first:end], c.band[first:end], first, 2*math.Pi*shift/float64(c.size))
	if power > 0 {
		// Parseval: mean square of the inverse is 2·power/size².
		norm := float64(c.size) / math.Sqrt(2*power)
		for k, v := range c.x[first:end] {
			c.x[first+k] = complex(norm*real(v), norm*imag(v))
		}
	}
	return level / float64(c.size) / float64(c.size)
}

// keep is the band of the whitened cross-spectrum.
func (c *correlator) keep() dsp.Spectrum {
	s := dsp.Spectrum{Bins: make([]complex64, c.end-c.first), First: c.first, Size: c.size}
	dsp.Narrowed(s.Bins, c.x[c.first:c.end])
	return s
}

// points picks the lags within reach out of a circular correlation and puts a
// point between each two.
func (c *correlator) points(r []float64) []float32 {
	out := make([]float32, 2*c.reach+1)
	n, mask := len(c.half)/2, c.size-1
	for i := range out {
		p := i - c.reach
		s := p >> 1 // floor
		if p&1 == 0 {
			out[i] = float32(r[s&mask])
			continue
		}
		var v float64
		for j, h := range c.half {
			v += h * r[(s-n+1+j)&mask]
		}
		out[i] = float32(v)
	}
	return out
}

// phases is how finely a sample is divided by readAlong, and alongTaps by how
// many samples it reads between them. The taps lose 1 dB at the top of the band.
const (
	phases    = 32
	alongTaps = dsp.SlideTaps
)

// along holds the taps for each phase: along[p] reads p/phases of a sample on;
// they are for the samples -alongTaps/2+1 .. alongTaps/2.
var along = sync.OnceValue(func() *[phases + 1][alongTaps]float32 {
	var t [phases + 1][alongTaps]float32
	for p := range t {
		for j := range t[p] {
			t[p][j] = float32(sincTap(float64(p)/phases-float64(j-alongTaps/2+1), alongTaps/2))
		}
	}
	return &t
})

// raws are buffers for what readAlong reads.
var raws = sync.Pool{New: func() any { return new([]float32) }}

// readAlong fills dst with sound as the clip's clock would have sampled it:
// dst[i] stands for line at clip sample first+i, to the nearest phase. The mean
// of what that leaves over is returned, in samples, for the caller to turn back.
//
// Taking whole samples instead would cost little height, but what is left over
// then wanders within a window by half a sample, and where in it the talk
// stands decides how much of that goes into the answer: some microseconds a
// window, and half a ppm on a take of half a minute.
func readAlong(sound Source, dst []float32, line Alignment, first int) (float64, error) {
	start := line.Sound(float64(first)/dsp.ProxyRate) * dsp.ProxyRate
	step := 1 + line.Drift
	whole := int(math.Floor(start)) - alongTaps/2 + 1
	held := raws.Get().(*[]float32)
	defer raws.Put(held)
	n := int(float64(len(dst))*step) + alongTaps + 3
	*held = slices.Grow((*held)[:0], n)
	raw := (*held)[:n]
	if err := sound.ReadAt(raw, whole); err != nil {
		return 0, err
	}
	taps := along()
	var left float64
	for i := 0; i < len(dst); {
		pos := start - math.Floor(start) + float64(i)*step
		at := int(pos)
		frac := (pos - float64(at)) * phases
		phase := int(frac + 0.5)
		n := min(len(dst)-i, samePhase(frac, line.Drift))
		part := dst[i : i+n]
		dsp.Slide(part, raw[at:], &taps[phase])
		count := float64(n)
		left += count*(frac-float64(phase)) + phases*line.Drift*count*(count-1)/2
		i += n
	}
	return left / float64(len(dst)) / phases, nil
}

// samePhase is how many samples, from one on that stands frac phases past a
// whole one, are read at the phase nearest to it: the place moves on by drift a
// sample.
func samePhase(frac, drift float64) int {
	left := math.Floor(frac+0.5) - frac // to the middle of the phase
	switch {
	case drift > 0:
		left += 0.5
	case drift < 0:
		left -= 0.5
	default:
		return math.MaxInt
	}
	return 1 + int(math.Min(left/(drift*phases), 1<<30))
}
