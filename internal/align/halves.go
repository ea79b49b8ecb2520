package align

import "math"

// fewHalved is how many windows there must be for halves to say something apart.
const fewHalved = 4

// ownPlace is how many times higher a half of a take must stand at a place of its
// own than where the other half stands to speak for that place. A room's
// reflections that take turns at being the highest stand within 1.2 of each other.
const ownPlace = 1.5

// halved is the stack's windows, the first half and the second apart.
func (s *stack) halved() [2]*stack {
	n := len(s.windows) / 2
	return [2]*stack{newStack(s.windows[:n], s.reach), newStack(s.windows[n:], s.reach)}
}

// apart tells whether the two halves of a stack with top p stand each, clear of
// chance, at a place of its own: the talker walked, or sound was lost between. All
// windows together then show both places. It returns the half that stands higher at
// p, and p as that half has it.
func (s *stack) apart(p peak) (*stack, peak, bool) {
	if len(s.windows) < fewHalved {
		return s, p, false
	}
	halves := s.halved()
	var at, own [2]peak // p, and the highest place, as the half has them
	for i, h := range halves {
		at[i] = p.later(h.mid - s.mid)
		at[i].height = h.at(at[i].delta, p.slope)
		own[i] = h.highest(p.slope, 0, 0, Tolerance)
	}
	for i, h := range halves {
		there := h.at(own[1-i].delta+at[i].delta-at[1-i].delta, p.slope)
		if math.Abs(own[i].height) < math.Max(ownHeight, ownPlace*math.Abs(there)) {
			return s, p, false
		}
	}
	near := 0
	if math.Abs(at[1].height) > math.Abs(at[0].height) {
		near = 1
	}
	return halves[near], at[near], true
}

// halves measures the two halves of the take apart, at the drift of the whole.
func (f *measurement) halves() {
	f.Halves = math.NaN()
	if len(f.stack.windows) < fewHalved {
		return
	}
	var delta [2]float64
	for i, s := range f.stack.halved() {
		at := f.top.later(s.mid - f.stack.mid)
		p := s.refine(at, true)
		delta[i] = p.delta - at.delta
		f.HalfHeights[i] = math.Abs(p.height)
	}
	f.Halves = math.Abs(delta[1] - delta[0])
}
