package align

import (
	"math"
	"slices"
	"sort"

	"earshot/internal/dsp"
)

// A Guess is where to look: at clip time At the sound is heard within
// tolerance of sound time Sound.
type Guess struct {
	At, Sound float64 // seconds
	Drift     float64 // seconds per second, the best there is before measuring
}

// Tolerance is how far from a Guess a match is looked for, seconds.
const Tolerance = 0.060

// Found is a measured alignment with its evidence.
type Found struct {
	Alignment
	Strength    float64    // height of the match over the noise of the search, standard deviations
	Rest        float64    // the same without the window that matched best and its neighbours
	Inverted    bool       // one of the microphones has its poles swapped
	Mid         float64    // clip seconds: the middle of what was heard, where the offset is known best
	MidSigma    float64    // seconds: of the sound's time at Mid
	DriftSigma  float64    // seconds per second, independent of the place at Mid; +Inf when the take cannot tell
	From, To    float64    // clip seconds that the sound covers
	Halves      float64    // seconds: how far the two halves of the take disagree; NaN when there are too few windows
	HalfHeights [2]float64 // how high the match stands in each half alone, standard deviations
	Locals      []Local
	Astray      bool   // windows at one end are heard clearly, and not at all where the line says; or the halves stand at places of their own
	Spans       []Span // in order, where the take does not lie on one line; Alignment is then the line at Mid
}

// A Local is what one window measured by itself, knowing nothing of the others.
type Local struct {
	At     float64 // clip seconds
	Left   float64 // seconds: positive = the sound is heard later than the line says
	Height float64 // of its peak, standard deviations
	Heard  bool    // the peak is clear
}

// A measurement is a Found in the making.
type measurement struct {
	Found
	stack *stack
	top   peak
	lead  float64   // seconds from it to the direct sound
	line  Alignment // along which the windows were taken
	few   bool      // windows of a first look, which are never the last word
	apart bool      // the halves stand at places of their own
}

// SigmaAt is the standard deviation of the sound's time for clip time t.
func (f *Found) SigmaAt(t float64) float64 {
	if math.IsInf(f.DriftSigma, 1) {
		return math.Inf(1)
	}
	return math.Hypot(f.MidSigma, (t-f.Mid)*f.DriftSigma)
}

// How much is listened to. The figures behind them are in docs/accuracy.md.
const (
	firstSpan    = 100.0 // seconds around a Guess that are searched for a match
	firstWindows = 20
	firstSlack   = 30e-6 // seconds per second by which a first look may take a drift for more than it is
	fewWindows   = 4     // of the first look, spread, and as many where the sound is loudest
	mostWindows  = 48    // of the final measurement, spread over all that is covered
	mostWeak     = 144   // the same where they are so weak that noise rules
	weakHeight   = 12.0  // the mean height of such windows, standard deviations

	faint       = 5.5   // a first search below this is not followed up
	likely      = 8.0   // and from this on chance seldom made it
	grown       = 6.3   // what more windows must show of what is less
	beyondDoubt = 28.0  // and above this a few windows are enough for it
	plain       = 6.5   // a window's own peak above this counts as heard
	hopeless    = 11.0  // all of a take that shows less is not measured again
	vainTurn    = 10e-6 // seconds per second off the line, where that blurs nothing
	mostAgain   = 4     // times that all of a take is measured

	smear = 20e-6 // seconds: windows that a line lays this far apart blur the top of the band
	dull  = 60e-6 // and these leave little of it
	near  = 0.002 // seconds: a line this far off leaves no room to look for the direct sound
)

// Find looks for clip in sound near guess and measures what it finds. The
// result's Strength says how much it is worth; below about 6.5 it is what
// unrelated recordings give. A nil result means that there is no common
// stretch of a second or that nothing rose out of the noise.
func Find(clip, sound Source, guess Guess) (*Found, error) {
	line := Alignment{Drift: guess.Drift}
	line.Offset = guess.Sound - (1+line.Drift)*guess.At
	clipLen, soundLen := seconds(clip), seconds(sound)
	from, to := line.Covered(clipLen, soundLen)
	if to-from < 1 {
		return nil, nil
	}
	lo := math.Max(from, math.Min(guess.At-firstSpan/2, to-firstSpan))
	hi := math.Min(to, lo+firstSpan)
	f, err := firstLook(clip, sound, line, lo, hi)
	if err != nil || f == nil || f.Strength < faint || math.Abs(f.Drift) > MaxDrift+firstSlack {
		return nil, err
	}
	if f, err = grow(clip, sound, f, clipLen, soundLen); err != nil || math.Abs(f.Drift) > MaxDrift {
		return nil, err
	}
	if f, err = lookAbout(clip, sound, f); err != nil {
		return nil, err
	}
	if math.IsInf(f.DriftSigma, 1) {
		if f, err = withoutDrift(clip, sound, f, guess.Drift); err != nil {
			return nil, err
		}
	}
	if f, err = follow(clip, sound, f, clipLen, soundLen); err != nil {
		return nil, err
	}
	if f.Spans == nil {
		f.locals()
	}
	f.cover(clipLen, soundLen)
	f.undulled()
	found := f.Found // a copy: the measurement holds some megabytes
	return &found, nil
}

// withoutDrift measures anew a take that cannot tell its drift, along the one
// there was before: the drift it seemed to show is where in its windows the
// talk stands.
func withoutDrift(clip, sound Source, f *measurement, drift float64) (*measurement, error) {
	line := Alignment{Drift: drift}
	line.Offset = f.Alignment.Sound(f.Mid) - (1+drift)*f.Mid
	again, err := measure(clip, sound, line, f.From, f.To, mostWindows, 0)
	if err != nil || again.Strength < 0.5*f.Strength {
		return f, err
	}
	return again, nil
}

func seconds(s Source) float64 { return float64(s.Len()) / dsp.ProxyRate }

// grow measures along ever longer stretches of the take, each along the line
// that the last one found, until all that is covered is used. A line that turns
// out far from where the last one was sure of it is measured along once more:
// past 100 ppm or so a window's own smear shifts what it says, and off the middle
// of what is looked at there is no room to look for the direct sound.
func grow(clip, sound Source, f *measurement, clipLen, soundLen float64) (*measurement, error) {
	settled := false
	for again := 0; ; {
		from, to := f.Covered(clipLen, soundLen)
		all := func(lo, hi float64) bool { return lo-from < 1 && to-hi < 1 }
		whole := all(f.From, f.To)
		if whole && (settled || !f.few && f.stack.smeared(f.top) < smear && math.Abs(f.top.delta) < near) {
			return f, nil
		}
		// The line may be off by 4 sigma at the new ends and must stay inside
		// half the reach.
		room := Tolerance / 2 / math.Max(4*f.DriftSigma, 1e-7)
		lo, hi := math.Max(from, f.Mid-room), math.Min(to, f.Mid+room)
		if !whole && hi-lo < (f.To-f.From)*1.2 && (lo > from || hi < to) {
			return f, nil // too unsure to go on: what there is must do
		}
		most := f.driftRoom()
		n := mostWindows
		if f.weak() {
			n = mostWeak
		}
		next, err := measure(clip, sound, f.Alignment, lo, hi, n, most)
		if err != nil {
			return nil, err
		}
		if next.Strength < 0.7*f.Strength || math.Abs(next.Drift) > MaxDrift {
			return f, nil
		}
		if whole {
			again++
		}
		settled = all(lo, hi) && next.vain() ||
			whole && (again == mostAgain || next.Strength < hopeless || next.stack.smeared(next.top) < dull && math.Abs(next.Drift-f.Drift) <= most/2 && math.Abs(next.Sound(next.Mid)-f.Sound(next.Mid)) < near)
		f = next
	}
}

// vain tells whether measuring all of the take anew would show no more: it shows
// too little, and no drift blurs it.
func (f *measurement) vain() bool {
	return f.Strength < hopeless && math.Abs(f.top.slope) < vainTurn
}

// weak tells whether noise rules in the take's windows.
func (f *measurement) weak() bool { return f.Strength < weakHeight*math.Sqrt(mostWindows) }

// measure takes up to n windows of clip between from and to along line, and
// finds the best place for them together, at drifts up to most off the line's.
func measure(clip, sound Source, line Alignment, from, to float64, n int, most float64) (*measurement, error) {
	return measureNear(clip, sound, line, from, to, n, most, Tolerance)
}

// measureNear is measure with places up to within off the line alone.
func measureNear(clip, sound Source, line Alignment, from, to float64, n int, most, within float64) (*measurement, error) {
	times := spread(from, to, float64(windowSize(to-from))/dsp.ProxyRate, n)
	f, err := take(clip, sound, line, from, to, times)
	if err != nil {
		return nil, err
	}
	f.settleWithin(most, within)
	return f, nil
}

// driftRoom is how far from its drift a take's own may still be, seconds per
// second.
func (f *measurement) driftRoom() float64 { return math.Min(MaxDrift, 6*f.DriftSigma+2e-6) }

// settleWithin settles on the highest place at drifts up to most and places up to
// within off the line, and returns it as it is before it is climbed.
func (f *measurement) settleWithin(most, within float64) peak {
	fixed := len(f.stack.windows) < 3 || most == 0
	p := f.stack.refine(f.stack.search(most, within), fixed)
	f.settle(p, fixed)
	return p
}

// take takes windows of clip at the given times along line; they lie between
// from and to.
func take(clip, sound Source, line Alignment, from, to float64, times []float64) (*measurement, error) {
	return takeBy(newCorrelator(windowSize(to-from), Tolerance), clip, sound, line, from, to, times)
}

func takeBy(cor *correlator, clip, sound Source, line Alignment, from, to float64, times []float64) (*measurement, error) {
	windows := make([]window, 0, len(times))
	for _, t := range times {
		w, err := cor.take(clip, sound, line, t)
		if err != nil {
			return nil, err
		}
		windows = append(windows, w)
	}
	weigh(windows)
	s := newStack(windows, cor.reach)
	s.heard, s.far = &cor.heard, far(sound)
	return &measurement{Found: Found{From: from, To: to}, stack: s, line: line}, nil
}

// windowSize is a power of two: about 4 s for long stretches, 1 s for short.
func windowSize(stretch float64) int {
	switch {
	case stretch >= 24:
		return 1 << 16
	case stretch >= 7:
		return 1 << 15
	default:
		return 1 << 14
	}
}

// spread places at most n windows of the given width evenly from from to to,
// overlapping by half at the most.
func spread(from, to, width float64, n int) []float64 {
	if to-from < width {
		return []float64{(from + to) / 2}
	}
	room := to - from - width
	n = max(1, min(n, 1+int(2*room/width)))
	if n == 1 {
		return []float64{(from + to) / 2}
	}
	times := make([]float64, n)
	for i := range times {
		times[i] = from + width/2 + room*float64(i)/float64(n-1)
	}
	return times
}

// weigh lets a window count by how loud the sound is in it, against the loud
// quarter of them: nothing is learnt from pauses.
func weigh(windows []window) {
	levels := make([]float64, len(windows))
	for i, w := range windows {
		levels[i] = w.level
	}
	sort.Float64s(levels)
	loud := levels[len(levels)*3/4]
	for i := range windows {
		windows[i].weight = 1
		if loud > 0 {
			windows[i].weight = math.Max(0.05, math.Sqrt(math.Min(1, 4*windows[i].level/loud)))
		}
	}
}

// settle writes down what top p of the stack says.
func (f *measurement) settle(p peak, fixed bool) {
	s := f.stack
	mid, matching := s.where(p)
	fixed = fixed || matching < fewMatch
	p, sc := s.climb(p, fixed)
	f.top = p
	f.Strength = math.Abs(p.height) / s.noise
	f.Inverted = p.height < 0
	f.Drift = f.line.Drift + p.slope
	blur := 0.0
	if f.lead = 0; !s.far {
		f.lead, blur = s.direct(p)
	}
	f.Offset = f.line.Sound(s.mid) + p.delta + f.lead - (1+f.Drift)*s.mid
	f.Rest = s.without(p) / s.noise
	f.Mid, f.DriftSigma = mid, math.Inf(1)
	if !fixed {
		turn := sc.ds / sc.ss // the place and the slope are independent there
		f.Mid = s.mid - turn
		sc.dd = math.Max(0, sc.dd-turn*sc.ds)
		f.DriftSigma = s.wider() * math.Hypot(math.Sqrt(sc.ss), turning/math.Max(s.half, 1))
	}
	f.MidSigma = math.Hypot(s.wider()*math.Hypot(math.Sqrt(sc.dd), rounding), blur)
}

// clearlyHeard is how high a window's own top stands, in deviations, that must
// lie where the line says.
const clearlyHeard = 10.0

// atAnEnd tells whether nearly all of the last windows, or of the first, are
// astray, and nearly none of the others. Somebody else who speaks now and then,
// farther from the microphone, is astray here and there.
func atAnEnd(astray []bool) bool {
	const few, share, but = 3, 0.15, 0.1 // windows; of all; that may be otherwise
	for range 2 {
		n, all := 0, 0
		for _, a := range astray {
			if a {
				all++
			}
		}
		for i, a := range astray {
			if a {
				n++
			}
			rest := float64(all - n)
			if n >= few && float64(n) >= share*float64(len(astray)) && float64(n) >= (1-but)*float64(i+1) && rest <= but*float64(len(astray)-i-1) {
				return true
			}
		}
		astray = slices.Clone(astray)
		slices.Reverse(astray)
	}
	return false
}

const (
	fewMatch  = 3.5     // windows of equal share that must match before they can tell a drift
	mostMatch = 5.5     // and of a few windows, before no others are asked
	rounding  = 0.12e-6 // seconds: what is left where there is no noise
	turning   = 0.05e-6 // seconds: how far a take's ends may be off the same
)

// wider is what the errors of the rig in docs/accuracy.md ask a scatter to be
// widened by: few windows tell their own disagreement badly.
func (s *stack) wider() float64 { return math.Min(1.15, 0.91+2.1/float64(len(s.windows))) }

// WithDrift joins what is known of the drift from elsewhere, seconds per
// second, with what the take itself says: each counts by its sigma. The place at
// Mid stays, which a take knows whatever its drift.
//
// sigma +Inf says that nothing is known elsewhere: it then counts as Ordinary.
func (f Found) WithDrift(drift, sigma float64) Found {
	sigma = min(sigma, Ordinary)
	share := 1.0 // of what comes from elsewhere
	if own := f.DriftSigma * f.DriftSigma; !math.IsInf(own, 1) {
		share = own / (own + sigma*sigma)
	}
	turn := share * (drift - f.Drift)
	f.Offset = f.Sound(f.Mid) - (1+f.Drift+turn)*f.Mid
	f.Drift += turn
	f.DriftSigma = sigma * math.Sqrt(share)
	locals := make([]Local, len(f.Locals))
	for i, l := range f.Locals {
		l.Left -= turn * (l.At - f.Mid)
		locals[i] = l
	}
	f.Locals, f.Spans = locals, turnedSpans(f.Spans, turn)
	return f
}

// Later is f as counted from files that both begin so many seconds earlier.
func (f Found) Later(by float64) Found {
	f.Offset -= f.Drift * by
	f.Mid, f.From, f.To = f.Mid+by, f.From+by, f.To+by
	locals := make([]Local, len(f.Locals))
	for i, l := range f.Locals {
		l.At += by
		locals[i] = l
	}
	f.Locals, f.Spans = locals, laterSpans(f.Spans, by)
	return f
}

// Ordinary is the spread of drifts between two working devices, seconds per
// second: two crystals of ±50 ppm each.
const Ordinary = 50e-6

// locals measures every window by itself: the seam.
func (f *measurement) locals() {
	f.Locals = f.Locals[:0]
	sign := math.Copysign(1, f.top.height)
	var astray []bool // of the windows clearly heard
	for i := range f.stack.windows {
		w := &f.stack.windows[i]
		best, at := 0.0, 0
		for j, v := range w.r {
			if h := sign * float64(v); h > best {
				best, at = h, j
			}
		}
		lag := float64(at-f.stack.reach) * lagStep
		if at > 0 && at < len(w.r)-1 {
			lag += lagStep * vertex(sign*float64(w.r[at-1]), best, sign*float64(w.r[at+1]))
		}
		line := f.top.delta + f.top.slope*(w.at-f.stack.mid)
		f.Locals = append(f.Locals, Local{At: w.at, Left: lag - line, Height: best, Heard: best >= plain})
		if best >= clearlyHeard {
			astray = append(astray, sign*read(w.r, f.stack.reach, line) < missing)
		}
	}
	f.Astray = f.apart || atAnEnd(astray)
	f.halves()
}

// vertex returns how far a correlation's true top lies from its largest point
// b, in points, given the points a before and c after it: the vertex of the
// parabola through the three, |x| ≤ ½. Three equal points give 0.
func vertex(a, b, c float64) float64 {
	d := a - 2*b + c
	if d == 0 {
		return 0
	}
	return (a - c) / (2 * d)
}
