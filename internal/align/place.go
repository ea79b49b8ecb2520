package align

import (
	"math"

	"earshot/internal/dsp"
)

// between places the cut between two trails.
func (g *guide) between(before, after trail, width float64) (cut, error) {
	a, b := before.last(), after.first()
	from := math.Max(g.from, math.Max(a.at-width, before.first().at-width/2))
	to := math.Min(g.to, math.Min(b.at+width, after.last().at+width/2))
	old, next := g.line, g.line
	old.Offset += float64(a.lag) * lagStep
	next.Offset += float64(b.lag) * lagStep
	at, err := g.place(old, next, from, to)
	return cut{at, float64(b.lag-a.lag) * lagStep}, err
}

// longestPlaced bounds the stretch in which a cut is placed, seconds: it is held
// in memory some hundred bytes a sample.
const longestPlaced = 30.0

// replace places the cuts between spans again, now that their lines are known,
// and the room.
func (g *guide) replace(spans []Span) error {
	const looks, end = 6, 0.1             // seconds: a cut so near an end may lie beyond it
	around := 1.5 + (g.to-g.from)/mostFar // seconds: what lies between two windows of the thorough look, and more
	for i := 1; i < len(spans); i++ {
		s, last := &spans[i], &spans[i-1]
		if s.Lost == 0 {
			continue
		}
		gone := math.Max(0, s.Lost)
		for range looks {
			from, to := math.Max(last.To-around, last.From), math.Min(last.To+gone+around, s.To)
			at, err := g.place(last.Alignment, s.Alignment, from, to)
			if err != nil {
				return err
			}
			settled := at == last.To || at > from+end && at+gone < to-end
			if last.To, s.From = at, at+gone; settled {
				break
			}
		}
	}
	return nil
}

// place finds where between two clip times the sound jumps from one line to
// another: the likeliest change-point, by the pattern or, once it is known and
// tells more, by the room's response. Of a longer stretch than longestPlaced, in
// which neither line was clear, it is the middle.
func (g *guide) place(old, next Alignment, from, to float64) (float64, error) {
	if to-from > longestPlaced {
		return (from + to) / 2, nil
	}
	c, err := g.changeBetween(old, next, from, to)
	if err != nil {
		return 0, err
	}
	if c.gone >= c.n {
		return (from + to) / 2, nil
	}
	white := newWhitener(c.n)
	spec := white.spectrum(c.clip)
	even := white.evening(spec)
	x := white.signal(spec, even, nil)
	weights := c.weights(x)
	pattern := white.pattern(g.full)
	plain := c.likeliest(x, weights, [2][]float64{white.run(c.sound[0], pattern), white.run(c.sound[1], pattern)})
	if g.room == nil {
		return c.at(plain.at), nil
	}
	room := white.evened(g.room, even)
	heard := c.likeliest(x, weights, [2][]float64{white.through(c.sound[0], room), white.through(c.sound[1], room)})
	if heard.gain < plain.gain {
		return c.at(plain.at), nil
	}
	return c.at(c.sharpened(x, weights, room, white, heard)), nil
}

// A change is a stretch of a clip in which the sound jumps from one line to
// another.
type change struct {
	first, n int // clip samples
	gone     int // samples of the clip that went by while sound was lost
	clip     []float32
	sound    [2][]float32 // along the line before the jump and along that after it
}

// changeBetween reads a change between two clip times.
func (g *guide) changeBetween(old, next Alignment, from, to float64) (*change, error) {
	c := &change{first: int(from * dsp.ProxyRate), n: int((to - from) * dsp.ProxyRate)}
	c.gone = max(0, int((old.Sound(from)-next.Sound(from))*dsp.ProxyRate))
	c.clip = make([]float32, c.n)
	if err := g.clip.ReadAt(c.clip, c.first); err != nil {
		return nil, err
	}
	for k, line := range []Alignment{old, next} {
		c.sound[k] = make([]float32, c.n)
		if _, err := readAlong(g.sound, c.sound[k], line, c.first); err != nil {
			return nil, err
		}
	}
	return c, nil
}

// at is a sample of the change in clip seconds.
func (c *change) at(i int) float64 { return float64(c.first+i) / dsp.ProxyRate }

// weights are one over the variance of x, the whitened clip, about each moment:
// more than what is left of it where its sound is known.
func (c *change) weights(x []float64) []float64 {
	power, mean := make([]float64, c.n), 1e-30
	for i, v := range x {
		power[i] = v * v
		mean += v * v / float64(c.n)
	}
	out := smoothed(power, dsp.ProxyRate/10)
	for i, v := range out {
		out[i] = 1 / (v + 0.01*mean)
	}
	return out
}

// A turningPoint is where a change most likely is: its sample, the factor from
// what was predicted to what is heard, and by how much the prediction is likelier
// than none, as a log likelihood.
type turningPoint struct {
	at           int
	factor, gain float64
}

// likeliest is the likeliest place for the jump. x is the whitened clip and made
// what it should hold along either line, to a factor g. With the variance v as
// it is about each moment, a moment speaks for its line by (g·x·c - g²·c²/2)/v;
// the lines' sums before and after the jump are to be greatest together.
func (c *change) likeliest(x, weights []float64, made [2][]float64) (j turningPoint) {
	var cross, energy [2][]float64
	for k := range made {
		cross[k], energy[k] = make([]float64, c.n+1), make([]float64, c.n+1)
		for i, m := range made[k] {
			cross[k][i+1] = cross[k][i] + m*x[i]*weights[i]
			energy[k][i+1] = energy[k][i] + m*m*weights[i]
		}
	}
	both := func(s [2][]float64, i int) float64 { return s[0][i] + s[1][c.n] - s[1][i+c.gone] }
	for range 2 { // without the energies first, for the factor
		most := math.Inf(-1)
		for i := 0; i+c.gone <= c.n; i++ {
			if v := both(cross, i) - j.factor/2*both(energy, i); v > most {
				most, j.at = v, i
			}
		}
		j.factor = math.Max(0, both(cross, j.at)/math.Max(both(energy, j.at), 1e-30))
	}
	j.gain = j.factor * both(cross, j.at) / 2
	return j
}

// sharpened is the likeliest sample for a jump that seemed to be at j. What was
// said before it still sounds in the room after it, and lies where the line
// before has it, so that likeliest comes late: here each sample of the sound
// counts by all that the room makes of it.
func (c *change) sharpened(x, weights []float64, room *echo, white *whitener, j turningPoint) int {
	const (
		back, on = 0.6, 0.1 // seconds
		hop      = dsp.ProxyRate / 500
	)
	from := max(0, j.at-int(back*dsp.ProxyRate))
	to := min(c.n-c.gone, j.at+int(on*dsp.ProxyRate))
	joined := make([]float32, c.n)
	copy(joined, c.sound[0][:from])
	copy(joined[from+c.gone:], c.sound[1][from+c.gone:])
	left := white.through(joined, room)
	for i, v := range left {
		left[i] = x[i] - j.factor*v
	}
	sum, least, best := 0.0, 0.0, from
	for at := from; at+hop <= to; at += hop {
		late := at + c.gone
		sum += room.take(left, weights, c.sound[0][at:at+hop], at, j.factor)
		sum += room.take(left, weights, c.sound[1][late:late+hop], late, -j.factor)
		if sum < least {
			least, best = sum, at+hop
		}
	}
	return best
}

// A whitener evens the spectrum of stretches of one length.
type whitener struct {
	n   int
	fft *dsp.FFT
}

func newWhitener(n int) *whitener {
	size := 1
	for size < n+dsp.ProxyRate/10 {
		size *= 2
	}
	return &whitener{n, dsp.NewFFT(size)}
}

// run returns x with its spectrum, as it is over some 50 Hz, evened, and sent
// through a pattern.
func (w *whitener) run(x []float32, pattern []complex128) []float64 {
	spec := w.spectrum(x)
	return w.signal(spec, w.evening(spec), pattern)
}

// signal is what spec is evened, and sent through a pattern where there is one.
// It overwrites spec.
func (w *whitener) signal(spec []complex128, even []float64, pattern []complex128) []float64 {
	for k, v := range even {
		spec[k] *= complex(v, 0)
		if pattern != nil {
			spec[k] *= pattern[k]
		}
	}
	return append([]float64(nil), w.fft.Inverse(spec)[:w.n]...)
}

// pattern is what taps do to a spectrum.
func (w *whitener) pattern(taps []tap) []complex128 {
	size := w.fft.Len()
	buf := w.fft.Buffer()
	clear(buf)
	for _, t := range taps { // a tap at by points: the sound so much later
		for _, half := range [2]int{t.by >> 1, (t.by + 1) >> 1} {
			buf[(size-half)%size] += float64(t.height) / 2
		}
	}
	return w.fft.Forward(nil)
}

// spectrum is that of x, as it is.
func (w *whitener) spectrum(x []float32) []complex128 {
	buf := w.fft.Buffer()
	clear(buf)
	dsp.Widened(buf[:len(x)], x)
	return w.fft.Forward(nil)
}

// evening is what a spectrum is to be multiplied by to be evened, bin by bin.
func (w *whitener) evening(spec []complex128) []float64 {
	size := w.fft.Len()
	power := make([]float64, len(spec))
	for k, c := range spec {
		power[k] = squared(c)
	}
	power = smoothed(power, max(2, 50*size/dsp.ProxyRate))
	for k, p := range power {
		hz := float64(k) * dsp.ProxyRate / float64(size)
		power[k] = 0
		if band := ramp(hz, bandLow, bandLowFull) * ramp(hz, 4500, 3500); p > 0 {
			power[k] = band / math.Pow(p, 0.375)
		}
	}
	return power
}

// roomSpread is how far evening spreads a room's response, seconds.
const roomSpread = 0.03

// An echo is a room's response evened as a clip is: by bin, and as a filter from
// ahead samples before the direct sound on.
type echo struct {
	spectrum []complex128
	filter   []float64
	ahead    int
}

// evened evens a room's response as the clip was.
func (w *whitener) evened(room, even []float64) *echo {
	size := w.fft.Len()
	buf := w.fft.Buffer()
	clear(buf)
	before := int(roomBefore * dsp.ProxyRate)
	for k, v := range room {
		buf[(k-before+size)%size] += v
	}
	e := &echo{spectrum: w.fft.Forward(nil), ahead: int((roomBefore + roomSpread) * dsp.ProxyRate)}
	for k, v := range even {
		e.spectrum[k] *= complex(v, 0)
	}
	all := w.fft.Inverse(e.spectrum)
	e.filter = make([]float64, len(room)+2*int(roomSpread*dsp.ProxyRate))
	for i := range e.filter {
		e.filter[i] = all[(i-e.ahead+size)%size]
	}
	return e
}

// through is what a room makes of x, evened.
func (w *whitener) through(x []float32, room *echo) []float64 {
	spec := w.spectrum(x)
	for k, v := range room.spectrum {
		spec[k] *= v
	}
	return append([]float64(nil), w.fft.Inverse(spec)[:w.n]...)
}

// take takes what the room makes of a piece of sound at sample at, times factor,
// from what is left of the clip, and tells by how much its weighed squares grow.
func (e *echo) take(left, weights []float64, piece []float32, at int, factor float64) (sum float64) {
	start := at - e.ahead
	heard := make([]float64, len(piece)+len(e.filter)-1)
	for i, p := range piece {
		v := factor * float64(p)
		out := heard[i : i+len(e.filter)]
		for j, f := range e.filter {
			out[j] += v * f
		}
	}
	for i, v := range heard {
		if t := start + i; t >= 0 && t < len(left) {
			sum += weights[t] * v * (v - 2*left[t])
			left[t] -= v
		}
	}
	return sum
}
