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
