package align

import (
	"errors"
	"math"
	"slices"

	"earshot/internal/dsp"
)

// A cut is a place at which the sound jumps against the clip.
type cut struct {
	at   float64 // clip seconds
	jump float64 // seconds that the lag grows by: the sound holds so much more
}

// spans looks at all of the take closely and parts it where it jumps and bends.
// One span or none says that it does neither.
func (g *guide) spans() ([]Span, error) {
	wide := newFarCorrelator(g.farSize(), farReach)
	width := float64(g.farSize()) / dsp.ProxyRate
	inner := spread(g.from, g.to, width, mostFar)
	t := newTracker(wide.reach, g.taps)
	if g.farSize() == atEnds {
		if err := g.track(t, wide, inner); err != nil {
			return nil, err
		}
	} else { // what happens near an end is seen by small windows alone
		small := newFarCorrelator(atEnds, farReach)
		head, tail := make([]float64, endWindows), make([]float64, endWindows)
		for i := range endWindows {
			head[i] = g.from + smallAt + float64(i)*endHop
			tail[endWindows-1-i] = g.to - smallAt - float64(i)*endHop
		}
		err := errors.Join(g.track(t, small, head), g.track(t, wide, inner[1:len(inner)-1]), g.track(t, small, tail))
		if err != nil {
			return nil, err
		}
	}
	trails, cuts, err := g.cutApart(joined(t.trails()), width)
	if err != nil {
		return nil, err
	}
	return g.lines(trails, cuts), nil
}

// cutApart places the cuts between trails. A trail of which they leave nothing is
// no span: its neighbours are cut from each other.
func (g *guide) cutApart(trails []trail, width float64) ([]trail, []cut, error) {
	for {
		var cuts []cut
		for i := range trails[1:] {
			c, err := g.between(trails[i], trails[i+1], width)
			if err != nil {
				return nil, nil, err
			}
			cuts = append(cuts, c)
		}
		empty := -1
		for j := range trails {
			from, to, _ := g.stretch(cuts, j)
			if to <= from && (empty < 0 || trails[j].score() < trails[empty].score()) {
				empty = j
			}
		}
		if empty < 0 || len(trails) == 1 {
			return trails, cuts, nil
		}
		trails = joined(slices.Delete(trails, empty, empty+1))
	}
}

// stretch is from when to when, in clip seconds, the trail of that index lies
// between its cuts, and how much sound was lost before it.
func (g *guide) stretch(cuts []cut, trail int) (from, to, lost float64) {
	from, to = g.from, g.to
	if trail > 0 {
		lost = -cuts[trail-1].jump
		from = cuts[trail-1].at + math.Max(0, lost)
	}
	if trail < len(cuts) {
		to = cuts[trail].at
	}
	return from, to, lost
}

// track takes windows at the given times into a tracker.
func (g *guide) track(t *tracker, c *farCorrelator, times []float64) error {
	for _, at := range times {
		w, err := c.take(g.clip, g.sound, g.line, at)
		if err != nil {
			return err
		}
		t.add(w.at, w.r, g.steps(t, w.at))
	}
	return nil
}

// farSize is the size of the windows of the thorough look, in samples.
func (g *guide) farSize() int {
	switch stretch := g.to - g.from; {
	case stretch >= 900:
		return 1 << 16
	case stretch >= 100:
		return 1 << 15
	default:
		return 1 << 14
	}
}

// joined joins what a jump parts wrongly: a trail that does not stand clear by
// itself, one whose neighbours agree with each other, jumps that are too small. Of
// those that are doubtful the least goes first, but before it what both neighbours
// outdo: once one of them is gone it would look like a span.
func joined(trails []trail) []trail {
	for {
		drop, outdone := -1, false
		for i, r := range trails {
			if len(trails) == 1 || !r.doubtful(trails, i) {
				continue
			}
			less := r.outdone(trails, i)
			if drop < 0 || less && !outdone || less == outdone && r.score() < trails[drop].score() {
				drop, outdone = i, less
			}
		}
		if drop < 0 {
			return merged(trails)
		}
		trails = merged(append(append([]trail(nil), trails[:drop]...), trails[drop+1:]...))
	}
}

// doubtful tells whether trail r, which is trails[i], is no span of its own.
func (r trail) doubtful(trails []trail, i int) bool {
	own := r.height(0)
	if own < ownHeight || r.heard() < ownWindows {
		return true
	}
	share := overShare
	if (i == 0 || i == len(trails)-1) && r.heard() <= fewHeard {
		share = fewShare
	}
	if i > 0 && !plainer(own, r.height(trails[i-1].last().lag-r.first().lag), share) {
		return true
	}
	if i+1 < len(trails) && !plainer(own, r.height(trails[i+1].first().lag-r.last().lag), share) {
		return true
	}
	return r.enclosed(trails, i)
}

// enclosed tells whether the neighbours of r, which is trails[i], agree with each
// other: somebody else speaks, nearer or farther.
func (r trail) enclosed(trails []trail, i int) bool {
	return i > 0 && i+1 < len(trails) && math.Abs(float64(trails[i+1].first().lag-trails[i-1].last().lag))*lagStep < sameAgain
}

// outdone tells whether both stand higher besides.
func (r trail) outdone(trails []trail, i int) bool {
	return r.enclosed(trails, i) && r.height(0) < math.Min(trails[i-1].height(0), trails[i+1].height(0))
}

// plainer tells whether a trail stands so much higher at its own lag than at
// another, at least share times, that the two are not one place.
func plainer(own, other, share float64) bool {
	return own-other >= overOther && own >= share*other
}

// merged joins neighbours whose lags meet.
func merged(trails []trail) []trail {
	out := trails[:0:0]
	for _, r := range trails {
		n := len(out) - 1
		if n >= 0 && math.Abs(float64(r.first().lag-out[n].last().lag))*lagStep < leastLoss {
			out[n] = trail{append(append([]mark(nil), out[n].marks...), r.marks...)}
			continue
		}
		out = append(out, r)
	}
	return out
}

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

// replace places the cuts between spans again, now that their lines are known.
func (g *guide) replace(spans []Span) error {
	around := 1.5 + (g.to-g.from)/mostFar // seconds: what lies between two windows of the thorough look, and more
	for i := 1; i < len(spans); i++ {
		s, last := &spans[i], &spans[i-1]
		if s.Lost == 0 {
			continue
		}
		from, to := math.Max(last.To-around, last.From), math.Min(s.From+around, s.To)
		at, err := g.place(last.Alignment, s.Alignment, from, to)
		if err != nil {
			return err
		}
		last.To, s.From = at, at+math.Max(0, s.Lost)
	}
	return nil
}

// place finds where between two clip times the sound jumps from one line to
// another: the likeliest change-point. Clip x and sound are whitened and the
// sound is sent through the pattern, so that c is what the clip should hold
// along a line, to a factor g. With the residual's variance v as it is about
// each moment, a moment speaks for its line by (g·x·c - g²·c²/2)/v; the lines'
// sums before and after the change are to be greatest together. Of a longer
// stretch than longestPlaced, in which neither line was clear, it is the middle.
func (g *guide) place(old, next Alignment, from, to float64) (float64, error) {
	if to-from > longestPlaced {
		return (from + to) / 2, nil
	}
	first := int(from * dsp.ProxyRate)
	n := int((to - from) * dsp.ProxyRate)
	raw := make([]float32, n)
	if err := g.clip.ReadAt(raw, first); err != nil {
		return 0, err
	}
	white := newWhitener(n)
	x := white.run(raw, nil)
	power := make([]float64, n)
	mean := 1e-30
	for i, v := range x {
		power[i] = v * v
		mean += v * v / float64(n)
	}
	about := smoothed(power, dsp.ProxyRate/10)
	var cross, energy [2][]float64
	for k, line := range []Alignment{old, next} {
		if _, err := readAlong(g.sound, raw, line, first); err != nil {
			return 0, err
		}
		cross[k], energy[k] = make([]float64, n+1), make([]float64, n+1)
		for i, c := range white.run(raw, g.full) {
			v := about[i] + 0.01*mean
			cross[k][i+1] = cross[k][i] + c*x[i]/v
			energy[k][i+1] = energy[k][i] + c*c/v
		}
	}
	gone := max(0, int((old.Sound(from)-next.Sound(from))*dsp.ProxyRate)) // of the clip, while it was lost
	if gone >= n {
		return (from + to) / 2, nil
	}
	both := func(s [2][]float64, i int) float64 { return s[0][i] + s[1][n] - s[1][i+gone] }
	factor, best := 0.0, 0 // without the energies first, for the factor
	for range 2 {
		most := math.Inf(-1)
		for i := 0; i+gone <= n; i++ {
			if v := both(cross, i) - factor/2*both(energy, i); v > most {
				most, best = v, i
			}
		}
		factor = math.Max(0, both(cross, best)/math.Max(both(energy, best), 1e-30))
	}
	return float64(first+best) / dsp.ProxyRate, nil
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
// through the pattern where there is one.
func (w *whitener) run(x []float32, taps []tap) []float64 {
	size := w.fft.Len()
	buf := w.fft.Buffer()
	clear(buf)
	dsp.Widened(buf[:len(x)], x)
	spec := w.fft.Forward(nil)
	power := make([]float64, len(spec))
	for k, c := range spec {
		power[k] = real(c)*real(c) + imag(c)*imag(c)
	}
	var shape []complex128
	if taps != nil {
		buf = w.fft.Buffer()
		clear(buf)
		for _, t := range taps { // a tap at by points: the sound so much later
			for _, half := range [2]int{t.by >> 1, (t.by + 1) >> 1} {
				buf[(size-half)%size] += float64(t.height) / 2
			}
		}
		shape = w.fft.Forward(nil)
	}
	for k, p := range smoothed(power, max(2, 50*size/dsp.ProxyRate)) {
		hz := float64(k) * dsp.ProxyRate / float64(size)
		band := ramp(hz, bandLow, bandLowFull) * ramp(hz, 4500, 3500)
		if p <= 0 || band == 0 {
			spec[k] = 0
			continue
		}
		spec[k] *= complex(band/math.Pow(p, 0.375), 0)
		if shape != nil {
			spec[k] *= shape[k]
		}
	}
	return append([]float64(nil), w.fft.Inverse(spec)[:w.n]...)
}
