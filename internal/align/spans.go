package align

import "math"

// A Span is a part of a clip with a line of its own: the recorder lost or
// repeated sound before it, or its clock bends there. Spans come in order.
type Span struct {
	From, To float64 // clip seconds, To excluded
	Alignment
	Mid  float64 // clip seconds: what its line turns about when the drift is taken from elsewhere
	Lost float64 // seconds of sound that the recorder lost just before; negative: it repeated so much; 0: the last span's line goes on here
}

// At is the sound's time for clip time t, by the span that t is in.
func (f *Found) At(t float64) float64 { return f.LineAt(t).Sound(t) }

// LineAt is the line that holds at clip time t.
func (f *Found) LineAt(t float64) Alignment {
	line := f.Alignment
	for i, s := range f.Spans {
		if i == 0 || t >= s.From {
			line = s.Alignment
		}
	}
	return line
}

// Losses counts the places at which the recorder lost or repeated sound.
func (f *Found) Losses() (n int) {
	for _, s := range f.Spans {
		if s.Lost != 0 {
			n++
		}
	}
	return n
}

// Bend is by how much the drift of the last span differs from the first's,
// seconds per second.
func (f *Found) Bend() float64 {
	if len(f.Spans) == 0 {
		return 0
	}
	return f.Spans[len(f.Spans)-1].Drift - f.Spans[0].Drift
}

// turnedSpans gives every span so much more drift, each about its Mid.
func turnedSpans(spans []Span, turn float64) []Span {
	out := append([]Span(nil), spans...)
	for i := range out {
		out[i].Offset -= turn * out[i].Mid
		out[i].Drift += turn
	}
	return out
}

// laterSpans is spans as counted from files that both begin so much earlier.
func laterSpans(spans []Span, by float64) []Span {
	out := append([]Span(nil), spans...)
	for i := range out {
		s := &out[i]
		s.Offset -= s.Drift * by
		s.From, s.To, s.Mid = s.From+by, s.To+by, s.Mid+by
	}
	return out
}

// Which takes are followed, and what is looked at.
const (
	shortTrail = 4.0  // seconds: shorter takes are not followed
	followFrom = 12.0 // strength, below which neither
	followRest = 7.0  // and without the best window

	farReach   = 1.02    // seconds that losses may add up to
	endReach   = 0.51    // seconds, of the cheap look at the ends
	mostFar    = 200     // windows of the thorough look
	atEnds     = 1 << 14 // samples of the windows that look at the ends
	smallAt    = 0.45    // seconds from an end to the middle of the first
	endHop     = 0.5     // seconds between them
	endWindows = 4       // at each end
	fewTaps    = 64      // of the pattern, for tracking
	fewLate    = 0.015   // seconds of it
	allTaps    = 600     // for placing a cut
	allLate    = 0.060   // seconds: more than a word's end, which a room fills
)

// How the track goes. Costs are log likelihoods, heights deviations of the
// noise.
const (
	jumpCost   = 45.0  // of a jump
	stepCost   = 1.5   // of a step of one point
	mostWeight = 8.0   // of one window
	mostHeight = 15.0  // of one window: a higher one is taken down to it with all of its lags
	mostBend   = 10e-6 // seconds per second by which a line may be off in places
	stepRoom   = 1     // points that a lag may change by from window to window, besides
	mostSteps  = 100   // in all

	clearlyOff = 3    // points off the line that are no rounding
	missing    = 4.0  // a window below is not heard
	plentiful  = 12.0 // and where the others' median is above, one missing is strange
	loudWeight = 0.7  // of windows in which much is to be heard
)

// What a span must show to be one.
const (
	ownWindows = 2       // that match by themselves: one clap is like another
	ownHeight  = 7.0     // deviations that they reach at their own lag together
	overOther  = 4.5     // deviations by which that is more than at the next span's
	overShare  = 1.2     // and how many times as high
	fewShare   = 2.0     // the same at an end, of so few windows that match: one clap, which two windows share, may sound as another reflection does
	fewHeard   = 4       // that are so few
	leastLoss  = 0.0004  // seconds: less is no loss
	sameAgain  = 0.0001  // seconds: two losses that undo each other so nearly are none: somebody else spoke
	nearTop    = 0.00025 // seconds: where a span's own top is looked for
	worthSpans = 0.9     // of the line's strength that the spans must keep
)

// follow looks whether the take lies on one line, and where it does not,
// measures it anew as spans. Most takes cost it little: the windows are there.
func follow(clip, sound Source, f *measurement, clipLen, soundLen float64) (*measurement, error) {
	from, to := f.Covered(clipLen, soundLen)
	if to-from < shortTrail || f.Strength < followFrom || f.Rest < followRest {
		return f, nil
	}
	g := &guide{clip: clip, sound: sound, f: f, from: from, to: to, line: f.Alignment}
	g.tolerance = mostBend + 4*math.Min(f.DriftSigma, mostBend)
	like, top, apart := f.stack.apart(f.top)
	g.taps = like.pattern(top, f.lead, fewLate, fewTaps)
	if !apart {
		if odd, err := g.odd(); err != nil || !odd {
			return f, err
		}
	}
	g.full = like.pattern(top, f.lead, allLate, allTaps)
	f.apart = apart
	spans, err := g.spans()
	if err != nil || len(spans) < 2 {
		return f, err
	}
	for again := range 2 {
		next, err := g.measureSpans(spans)
		if err != nil || next == nil {
			return f, err
		}
		if next.Strength < worthSpans*f.Strength || next.Losses() == 0 && next.Strength < f.Strength {
			return f, nil // a bend that is one lays the windows better
		}
		g.f, spans = next, next.Spans
		if again == 0 {
			if err := g.replace(spans); err != nil {
				return nil, err
			}
		}
	}
	return g.f, nil
}

// A guide follows one take.
type guide struct {
	clip, sound Source
	f           *measurement
	from, to    float64
	line        Alignment // all lags are against it
	tolerance   float64   // seconds per second that the line may be off in places
	taps        []tap     // the strongest of the pattern
	full        []tap     // all of it, once the take is odd
	room        []float64 // the room's response, once the spans are measured (see impulse)
}

// odd is the cheap look: do the windows that are there anyway, and a few short
// ones at the ends, all lie where the line says?
func (g *guide) odd() (bool, error) {
	s := g.f.stack
	if g.f.From-g.from > 1 || g.to-g.f.To > 1 {
		return true, nil
	}
	t := newTracker(s.reach, g.taps)
	for i := range s.windows {
		w := &s.windows[i]
		shift := g.f.lead + g.f.top.delta + g.f.top.slope*(w.at-s.mid)
		t.add(w.at, shifted(w.r, int(math.Round(shift/lagStep))), g.steps(t, w.at))
		t.marks[i].loud = w.weight > loudWeight
	}
	if t.astray() {
		return true, nil
	}
	cor := newFarCorrelator(atEnds, endReach)
	for _, end := range []struct{ at, hop float64 }{{g.from + smallAt, endHop}, {g.to - smallAt, -endHop}} {
		t := newTracker(cor.reach, g.taps)
		t.expect()
		for i := endWindows - 1; i >= 0; i-- { // from where lag 0 holds
			w, err := cor.take(g.clip, g.sound, g.line, end.at+float64(i)*end.hop)
			if err != nil {
				return false, err
			}
			t.add(w.at, w.r, 1)
		}
		if t.elsewhere() {
			return true, nil
		}
	}
	return false, nil
}

// steps is by how many points the lag may change from the last window to one
// at clip time at.
func (g *guide) steps(t *tracker, at float64) int {
	if len(t.marks) == 0 {
		return 0
	}
	apart := math.Abs(at - t.marks[len(t.marks)-1].at)
	return min(mostSteps, stepRoom+int(math.Ceil(g.tolerance*apart/lagStep)))
}

// shifted is r read so many points on, nothing past its ends.
func shifted(r []float32, by int) []float32 {
	out := make([]float32, len(r))
	if from, to := max(0, -by), min(len(r), len(r)-by); from < to {
		copy(out[from:to], r[from+by:to+by])
	}
	return out
}
