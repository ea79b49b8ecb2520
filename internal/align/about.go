package align

import (
	"math"

	"earshot/internal/dsp"
)

const (
	farOff   = 0.150 // seconds: how far from its line a take is looked for once more,
	fewAbout = 12    // and in how many windows, where they are not weak
)

// lookAbout looks along f's line farther out than a first look and the search
// for the direct sound do. A late reflection may stand higher than the direct
// sound, the more so deep in noise, where only the low part of the band is
// heard: the direct sound is the place of the largest lag that is nearly as
// high, or of the smallest where the room is in the other recording. What is
// clearly higher counts wherever it lies: a few windows may have shown less than
// all together do.
func lookAbout(clip, sound Source, f *measurement) (*measurement, error) {
	const from, nearly, clearly, least = 11, 0.7, 1.04, 8 // deviations; times as high, twice; deviations
	if f.Strength < from {
		return f, nil
	}
	n := fewAbout
	if f.weak() {
		n = mostWeak
	}
	times := spread(f.From, f.To, float64(windowSize(f.To-f.From))/dsp.ProxyRate, n)
	cor := newCorrelator(windowSize(f.To-f.From), farOff)
	cor.bare = true
	wide, err := takeBy(cor, clip, sound, f.Alignment, f.From, f.To, times)
	if err != nil {
		return nil, err
	}
	s := wide.stack
	here := s.search(0, room+0.008) // as far as the direct sound is told from its reflections
	top := s.search(0, farOff)
	if math.Abs(top.height) < clearly*math.Abs(here.height) {
		top = here
	}
	asked := math.Max(nearly*math.Abs(top.height), least*s.noise)
	if !s.far {
		top = s.outermost(asked, top)
	}
	if top == here || math.Abs(top.delta) < near {
		return f, nil
	}
	line := f.Alignment
	line.Offset += top.delta
	return measureNear(clip, sound, line, f.From, f.To, mostWeak, f.driftRoom(), near)
}

// outermost is the place about p, at least so high, that comes out of silence: the
// one of the largest lag, unless much more is heard beyond it than beyond that of
// the smallest; p where that one comes out of none.
func (s *stack) outermost(height float64, p peak) peak {
	const more = 4 // times the power
	t := s.along(0)
	last := t.lastOver(height, p)
	first := t.mirrored().lastOver(height, p.mirrored()).mirrored()
	out, side := last, 1
	if t.beyond(last.delta, 1) > more*t.beyond(first.delta, -1) {
		out, side = first, -1
	}
	if !t.silent(out.delta, side) {
		return p
	}
	return out
}
