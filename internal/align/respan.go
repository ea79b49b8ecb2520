package align

import (
	"math"

	"earshot/internal/dsp"
)

// A stretch of spans without a loss: they turn about one Mid together.
type group struct {
	spans    []Span // of the list
	windows  []window
	own      float64 // seconds that its lag differs from the common one
	from, to float64
}

func grouped(spans []Span) (out []*group) {
	from := 0
	for i := 1; i <= len(spans); i++ {
		if i == len(spans) || spans[i].Lost != 0 {
			part := spans[from:i]
			out = append(out, &group{spans: part, from: part[0].From, to: part[len(part)-1].To})
			from = i
		}
	}
	return out
}

// mid is what a group turns about.
func (p *group) mid() float64 { return p.spans[0].Mid }

// lineAt is the line at clip time t.
func (p *group) lineAt(t float64) Alignment {
	line := p.spans[0].Alignment
	for _, s := range p.spans[1:] {
		if t >= s.From {
			line = s.Alignment
		}
	}
	return line
}

// measureSpans measures a take along spans as measure does along a line. All
// spans share what is off in the drift; each group of them between two losses
// turns about its own middle and has an offset of its own.
func (g *guide) measureSpans(spans []Span) (*measurement, error) {
	spans = append([]Span(nil), spans...)
	groups := grouped(spans)
	main, total := groups[0], 0.0
	for _, p := range groups {
		total += p.to - p.from
		if p.to-p.from > main.to-main.from {
			main = p
		}
	}
	var all []window
	var heard *response
	reach := 0
	for _, p := range groups {
		cor, err := g.takeGroup(p, total)
		if err != nil {
			return nil, err
		}
		if all, reach = append(all, p.windows...), cor.reach; p == main {
			heard = &cor.heard
		}
	}
	weigh(all)
	left := all
	for _, p := range groups { // the weights, and none shared
		p.windows, left = left[:len(p.windows)], left[len(p.windows):]
	}
	s := newStack(all, reach)
	s.heard = heard
	line := main.lineAt(main.mid())
	m := &measurement{stack: s, line: Alignment{line.Sound(main.mid()), line.Drift}}
	p := m.settleAll(g.f)
	direct := m.ownOffsets(groups)
	g.full = s.pattern(p, direct-p.delta, allLate, allTaps)
	g.room = heard.impulse(direct + main.own)
	m.spanLocals(groups)
	m.From, m.To = g.from, g.to
	m.Alignment, m.Mid = main.lineAt(m.Mid+main.mid()), m.Mid+main.mid()
	m.Spans = tidied(spans)
	return m, nil
}

// settleAll settles on the top of all groups' windows together and returns it.
// before is what the take was measured as so far. Where that was too little to
// tell a drift, all of the take may tell it now; where it cannot either, the
// drift stays.
func (m *measurement) settleAll(before *measurement) peak {
	most := before.driftRoom()
	if len(m.stack.windows) < 3 {
		most = 0
	}
	p := m.settleWithin(most, Tolerance)
	if most > 0 && math.IsInf(before.DriftSigma, 1) && math.IsInf(m.DriftSigma, 1) {
		p = m.settleWithin(0, Tolerance)
	}
	return p
}

// takeGroup takes the windows of a group, their times counted from its middle.
func (g *guide) takeGroup(p *group, total float64) (*correlator, error) {
	length := p.to - p.from
	size := windowSize(length)
	cor := newCorrelator(size, Tolerance)
	all := float64(max(mostWindows, len(g.f.stack.windows))) // as many as made the strength that spans must keep
	n := max(1, int(math.Round(all*length/total)))
	for _, t := range spread(p.from, p.to, float64(size)/dsp.ProxyRate, n) {
		w, err := cor.take(g.clip, g.sound, p.lineAt(t), t)
		if err != nil {
			return nil, err
		}
		w.at -= p.mid()
		p.windows = append(p.windows, w)
	}
	return cor, nil
}

// ownOffsets finds every group's own offset near the common one and puts what
// was measured into its spans. It returns the common one.
func (m *measurement) ownOffsets(groups []*group) float64 {
	const least = 6.0 // deviations: lower, the common one is the better
	s, p := m.stack, m.top
	common := m.Offset + (1+m.Drift)*s.mid - m.line.Sound(s.mid)
	sign := math.Copysign(1, p.height)
	for _, g := range groups {
		part := newStack(g.windows, s.reach)
		expected := p.later(part.mid - s.mid).delta
		best := peak{expected, p.slope, sign * 1e-9}
		for off := -nearTop; off <= nearTop; off += lagStep / 2 {
			if v := part.at(expected+off, p.slope); v*sign > best.height*sign {
				best.delta, best.height = expected+off, v
			}
		}
		best = part.refine(best, true)
		if g.own = 0; best.height*sign >= least && math.Abs(best.delta-expected) <= 2*nearTop {
			g.own = best.delta - expected
		}
		for i := range g.spans {
			a := &g.spans[i].Alignment
			a.Offset += common + g.own - p.slope*(g.mid()+s.mid)
			a.Drift += p.slope
		}
	}
	return common
}

// spanLocals measures the seam of every group along its own lines; the halves
// that disagree most within one group speak for all.
func (m *measurement) spanLocals(groups []*group) {
	m.locals()
	m.Astray = false // every window is held against the line of its own span below
	m.Halves, m.HalfHeights = math.NaN(), [2]float64{}
	n := 0
	for _, g := range groups {
		part := newStack(g.windows, m.stack.reach)
		half := measurement{stack: part, top: m.top.later(part.mid - m.stack.mid)}
		half.top.delta += g.own
		half.halves()
		if math.IsNaN(m.Halves) || half.Halves > m.Halves {
			m.Halves, m.HalfHeights = half.Halves, half.HalfHeights
		}
		for range g.windows {
			m.Locals[n].At += g.mid()
			m.Locals[n].Left -= g.own
			n++
		}
	}
}

// tidied makes ends and losses agree with what the lines now say.
func tidied(spans []Span) []Span {
	for i := 1; i < len(spans); i++ {
		s, last := &spans[i], &spans[i-1]
		if s.Lost != 0 {
			s.Lost = last.Sound(last.To) - s.Sound(last.To)
			s.From = math.Min(last.To+math.Max(0, s.Lost), s.To)
		}
	}
	return spans
}

// cover sets From and To: what of the clip the sound covers.
func (f *Found) cover(clipLen, soundLen float64) {
	f.From, f.To = f.Covered(clipLen, soundLen)
	if n := len(f.Spans); n > 0 {
		first, last := &f.Spans[0], &f.Spans[n-1]
		f.From, _ = first.Covered(clipLen, soundLen)
		_, f.To = last.Covered(clipLen, soundLen)
		f.From, f.To = math.Min(f.From, first.To), math.Max(f.To, last.From)
		first.From, last.To = f.From, f.To
	}
}
