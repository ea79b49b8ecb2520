package align

import (
	"math"
	"slices"
)

// A scatter is the covariance of a place found in a stack: of delta, of slope,
// and of the two.
type scatter struct{ dd, ds, ss float64 }

// neighbourBins is by how much the fading of a window's ends makes what stands
// in neighbouring bins alike: the sum of the taper's fourth powers times its
// length over the square of the sum of its squares.
const neighbourBins = 1.116

// climb takes a top that the points showed to where the correlations themselves
// are highest, and tells how far noise may have moved it. With fixed the slope
// stays.
//
// The noise is read twice. What stands across the match in every bin moves the
// top as much as the bins say, if they are independent (the bound of Knapp &
// Carter 1976 is made of the same terms); and the windows' own leans at the top
// show what they disagree in, whatever it comes from (the sandwich of Huber
// 1967, with neighbours, which share half of their sound, taken together as
// Newey & West 1987 do, and what each window hides by having drawn the top to
// itself added, as MacKinnon & White 1985 do). Reflections add to the second
// alone; with few windows it is itself uncertain. The larger of the two counts,
// and with few windows somewhat more. What the second has over the first, by more
// than chance gives it, counts again for the slope: one stretch of talk excites
// a room otherwise than another, so that reflections lean alike in windows far
// apart, and a fitted slope hides that. What is far over it is a burst's, which
// leans otherwise in every window and hides in none.
func (s *stack) climb(p peak, fixed bool) (peak, scatter) {
	const hidden, chance, most = 1.5, 1.5, 3 // times what is over so many times the first, and so much of it; the trial is in docs/accuracy.md
	sign := math.Copysign(1, p.height)
	for range 2 {
		g, h, _, _ := s.slopes(p, nil)
		step := newton(g, h, sign, fixed).limit(lagStep/2, slopeStep(s.half)/2)
		p.delta += step.delta
		p.slope += step.slope
	}
	noise := &moments{}
	_, h, height, leans := s.slopes(p, noise)
	p.height = height * s.norm
	n := float64(len(leans))
	noise.scale(neighbourBins * (n + 2) / n)
	apart := disagreement(leans, h, fixed)
	h = hessian{h.dd * sign, h.ds * sign, h.ss * sign}
	a, b := noise.through(h, fixed), apart.through(h, fixed)
	ss := math.Max(a.ss, b.ss) + hidden*math.Max(0, math.Min(b.ss-chance*a.ss, most*a.ss))
	return p, scatter{math.Max(a.dd, b.dd), a.ds, ss}
}

// moments are those of the stack's leans over delta and slope.
type moments struct{ dd, ds, ss float64 }

func (m *moments) scale(f float64) { m.dd, m.ds, m.ss = m.dd*f, m.ds*f, m.ss*f }

// add enters what two windows at times t and u from the stack's middle have in
// common.
func (m *moments) add(v, t, u float64) {
	m.dd += v
	m.ds += v * (t + u) / 2
	m.ss += v * t * u
}

// through is what leans of such moments do to a top with curvature h.
func (m *moments) through(h hessian, fixed bool) scatter {
	if fixed {
		return scatter{dd: m.dd / (h.dd * h.dd)}
	}
	det := h.dd*h.ss - h.ds*h.ds
	a, b, c := h.ss/det, -h.ds/det, h.dd/det // the inverse
	ad, as := a*m.dd+b*m.ds, a*m.ds+b*m.ss
	bd, bs := b*m.dd+c*m.ds, b*m.ds+c*m.ss
	return scatter{dd: ad*a + as*b, ds: ad*b + as*c, ss: bd*b + bs*c}
}

// A lean is how one window's correlation leans and bends at a place, weighed.
type lean struct {
	t          float64 // seconds from the stack's middle
	lean, bend float64
	joined     bool // it shares sound with the one before
}

// disagreement is what the windows' leans have in moments, given the curvature
// of all together: none where there are too few.
func disagreement(leans []lean, h hessian, fixed bool) *moments {
	const most = 0.5 // that a window is taken to have drawn to itself
	m := &moments{}
	if len(leans) <= 2 {
		return m
	}
	det, last := h.dd*h.ss-h.ds*h.ds, 0.0
	for i, l := range leans {
		drawn := l.bend * (h.ss - 2*h.ds*l.t + h.dd*l.t*l.t) / det
		if fixed {
			drawn = l.bend / h.dd
		}
		v := l.lean / (1 - math.Max(0, math.Min(most, drawn)))
		m.add(v*v, l.t, l.t)
		if l.joined {
			m.add(2*v*last, l.t, leans[i-1].t)
		}
		last = v
	}
	return m
}

// slopes reads all windows at p: the stack's gradient, curvature and height
// there, weighed but not yet scaled by norm, and the windows' leans. noise, where
// it is asked for, gets the moments of what stands across the match.
func (s *stack) slopes(p peak, noise *moments) (g gradient, h hessian, height float64, leans []lean) {
	var last, across []float32
	leans = make([]lean, len(s.windows))
	for i := range s.windows {
		w := &s.windows[i]
		t := w.at - s.mid
		if noise != nil {
			last, across = across, slices.Grow(last[:0], len(w.spectrum.Bins))[:len(w.spectrum.Bins)]
		}
		r := w.spectrum.Read(p.delta+p.slope*t, across)
		l := lean{t: t, lean: w.weight * r.Lean, bend: w.weight * r.Bend}
		height += w.weight * r.Height
		g.delta += l.lean
		g.slope += l.lean * t
		h.dd += l.bend
		h.ds += l.bend * t
		h.ss += l.bend * t * t
		if noise != nil {
			noise.add(w.weight*w.weight*dot(across, across), t, t)
			if i > 0 && len(last) == len(across) { // those of another span may be of another size
				before := &s.windows[i-1]
				noise.add(2*w.weight*before.weight*dot(across, last), t, before.at-s.mid)
				l.joined = true
			}
		}
		leans[i] = l
	}
	return g, h, height, leans
}

func dot(a, b []float32) float64 {
	var sum float64
	for i, v := range a {
		sum += float64(v) * float64(b[i])
	}
	return sum
}
