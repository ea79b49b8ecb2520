package align

import (
	"math"
	"slices"
)

// An opening is the first burst of the arrivals about a place that comes out of
// silence.
type opening struct {
	arrivals    []peak  // all of them, the largest lag first
	first, last float64 // lags between which it lies, seconds
	height      float64 // of its highest
	parts       int     // how many arrivals it has, 0 where nothing comes out of silence
	blunt       bool    // so little of the band is left that arrivals run together
}

func (o *opening) length() float64 { return o.first - o.last }

// openingOf looks for the opening about p. hides tells whether p hides the direct
// sound.
func (t *row) openingOf(p peak, hides bool) opening {
	within := room
	if hides {
		within = hall
	}
	v := t.viewOf(p, within)
	if v == nil {
		return opening{}
	}
	o := v.firstBurst(v.unlikely)
	if !v.abrupt(o.first, o.height) { // the rise of a burst is not asked to be
		o = v.firstBurst(func(rest []peak) bool { return v.unlikely(rest) || rising(rest) })
	}
	if o.first > p.delta+within || !v.abrupt(o.first, o.height) {
		o.parts = 0
	}
	return o
}

// A view is what is heard about a place: a row flattened and taken apart.
type view struct {
	p        float64 // the place, seconds
	heard    *response
	from, to float64 // lags between which the response is asked
	arrivals []peak  // the largest lag first
	told     bool    // the room's response is clear
	paths    []peak  // where it is, those of them that it holds
	highest  float64 // of the arrivals
	least    float64 // how high one must be to begin a burst
	noise    float64 // deviation of what the arrivals were taken from
	many     bool    // reflections of a direct sound that seldom leads them
	narrow   bool    // arrivals have ripples beside them, since little of the band is left
	blunt    bool    // see opening
	smeared  bool    // the slope leaves little of an arrival's top
}

// viewOf is what is heard about p, at lags up to so many seconds larger; nil
// where too little of the band is.
func (t *row) viewOf(p peak, within float64) *view {
	const (
		silence = 0.008 // seconds that must be heard before a burst
		after   = 0.003 // seconds: p itself may be a little before its flattened top
		share   = 0.12  // of the strongest arrival, that one must have
		overall = 6     // deviations of the noise, the same
		much    = 9     // times the power of p
	)
	quiet := p.delta + within + silence + 0.002
	flat, lobes := t.flat(quiet)
	if flat == nil {
		return nil
	}
	v := &view{p: p.delta, heard: t.heard, from: p.delta - after, to: p.delta + within,
		noise: t.noiseAfter(flat, quiet), narrow: lobes[t.reach+2] > ripplesFrom, blunt: lobes[t.reach+2] > runsTogether,
		smeared: t.smear >= dull}
	v.arrivals = t.arrivals(flat, lobes, p.delta+within+silence, v.from, v.noise)
	for _, a := range v.arrivals {
		v.highest = math.Max(v.highest, math.Abs(a.height))
	}
	asked := math.Max(share, 1.4*sideLobe(lobes, t.reach)-0.12)
	v.least = math.Max(asked*v.highest, overall*v.noise)
	v.paths = v.arrivals
	v.told = v.heard.tells(v.from, v.to)
	if v.told {
		v.paths = slices.DeleteFunc(slices.Clone(v.arrivals), func(a peak) bool { return !v.holds(a) })
	}
	v.many = v.crowded() || t.beyond(p.delta, 1)+t.beyond(p.delta, -1) > much*p.height*p.height
	return v
}

// holds tells whether the room's response holds an arrival too.
func (v *view) holds(a peak) bool { return v.heard.holds(a.delta, v.from, v.to) }

// faint tells whether the room's response has far less of an arrival than it has
// of the strongest: whitening mirrors a strong reflection about the direct sound,
// and knows nothing of which of the two is real. Where little of the band is left,
// low ones that the response has no more of are its ripple, or what it makes of
// several: so were all of them on the rig in docs/accuracy.md.
func (v *view) faint(a peak) bool {
	const (
		far  = 0.45 // of the share that it has of the strongest
		low  = 0.4  // of the strongest
		more = 1.05 // of the share, of low ones in a narrow band
	)
	share := v.heard.about(a.delta) / v.heard.most(v.from, v.to)
	height := math.Abs(a.height) / v.highest
	if v.narrow && height < low {
		return share < more*height
	}
	return share < far*height
}

// tops tells whether the room's response has its first top where an arrival is.
// What merely rings there, because the band ends, has it elsewhere.
func (v *view) tops(a peak) bool {
	const about = 0.00006 // seconds
	t, clear := v.heard.firstTop(a.delta, a.delta)
	return clear && math.Abs(t.lag-a.delta) < about
}

// How high a single arrival's pattern still stands a sample from its top where
// hardly more than half of the band is left, so that it has ripples beside it, and
// where half is or less, so that arrivals run together; with all of it 0.27.
const ripplesFrom, runsTogether = 0.385, 0.47

// unlikely tells whether the first of some arrivals is too weak to be the direct
// sound, for all that is heard: weak ones are what whitening makes of one strong
// reflection, on its other side, of little more than speech's own band what the
// room's response knows nothing of, and of anything what a slope smears.
func (v *view) unlikely(rest []peak) bool {
	const weak = 0.25 // of the strongest
	a, height := rest[0], math.Abs(rest[0].height)
	if v.told && v.faint(a) || v.narrow && (v.told && !v.holds(a) || ripples(rest)) {
		return true
	}
	return height < weak*v.highest &&
		(!v.many || v.smeared || !v.abrupt(a.delta, height) || rising(rest) || !v.holds(a) || v.mirrors(a) || !v.tops(a))
}

// burst is how long one arrival is, at most, as microphones and mouths spread it,
// seconds.
const burst = 0.00017

// firstBurst is the first burst of arrivals that are high enough. no tells of an
// arrival, and those after it, that it begins none.
func (v *view) firstBurst(no func(rest []peak) bool) opening {
	o := opening{arrivals: v.arrivals, blunt: v.blunt}
	for i, a := range v.arrivals {
		if math.Abs(a.height) < v.least || o.parts == 0 && no(v.arrivals[i:]) {
			continue
		}
		if o.parts == 0 {
			o.first = a.delta
		} else if o.first-a.delta > burst {
			break
		}
		o.parts, o.last, o.height = o.parts+1, a.delta, math.Max(o.height, math.Abs(a.height))
	}
	return o
}

// abrupt tells whether a burst at lag first comes out of silence: whether few
// paths at larger lags, its own rise left out, are worth a word beside it, and it
// is clearly higher than all of them.
func (v *view) abrupt(first, height float64) bool {
	const rise, clearly, hardly, clear, few = 0.0006, 1.6, 6, 2, 4 // seconds; times as high, twice; deviations; arrivals that noise never makes
	n := 0
	for _, a := range v.paths {
		if a.delta <= first+rise {
			break
		}
		if clearly*math.Abs(a.height) > height {
			return false
		}
		if math.Abs(a.height) > math.Max(height/hardly, clear*v.noise) {
			n++
		}
	}
	return n < few
}

// crowded tells whether there are several arrivals, the highest among them, of
// nearly half of its height.
func (v *view) crowded() bool {
	const nearly, several = 0.4, 3
	n := 0
	for _, a := range v.arrivals {
		if math.Abs(a.height) >= nearly*v.highest {
			n++
		}
	}
	return n >= several
}

// mirrors tells whether an arrival may be what whitening makes of another: of one
// as far from the place at smaller lags, as strong and of one sign.
func (v *view) mirrors(a peak) bool {
	const about = 0.00004 // seconds
	for _, o := range v.arrivals {
		if math.Abs(o.delta+a.delta-2*v.p) < about && o.height/a.height >= 1 {
			return true
		}
	}
	return false
}

// rising tells whether the first of some arrivals is but the rise of a burst
// much stronger, as a loudspeaker or a microphone that was measured along with a
// room makes it: no reflection comes so soon after the direct sound.
func rising(arrivals []peak) bool {
	const soon = 0.0006 // seconds
	return outgrown(arrivals, soon)
}

// ripples tells whether the first of some arrivals may be what little of the band
// makes of one far stronger soon after it.
func ripples(arrivals []peak) bool {
	const soon = 0.0003 // seconds
	return outgrown(arrivals, soon)
}

// outgrown tells whether an arrival so soon after the first of some, seconds, is
// much stronger.
func outgrown(arrivals []peak, soon float64) bool {
	const much = 2.5 // times
	for _, a := range arrivals[1:] {
		if arrivals[0].delta-a.delta > soon {
			return false
		}
		if math.Abs(a.height) > much*math.Abs(arrivals[0].height) {
			return true
		}
	}
	return false
}

// outdone is how far after lag at, if as soon as that, something stands higher
// than what is there, seconds: as little as the direct sound is where much hides
// it, either may be it and the other its own pattern where no response tells; 0
// where nothing does.
func outdone(arrivals []peak, at, soon float64) float64 {
	const same = 0.00005 // seconds
	here, by := 0.0, 0.0
	for _, a := range arrivals {
		switch later := at - a.delta; {
		case math.Abs(later) < same:
			here = math.Max(here, math.Abs(a.height))
		case later > 0 && later < soon && math.Abs(a.height) > here:
			here, by = math.Abs(a.height), later
		}
	}
	return by
}

// sideLobe is the most that a single arrival's pattern of height 1 at lag 0 rises
// to apart from it, as far as a room reaches.
func sideLobe(lobes []float32, reach int) float64 {
	const apart, room = 0.0003, 0.034 // seconds
	top := 0.0
	for i := points(apart); i <= min(reach, points(room)); i++ {
		top = math.Max(top, math.Abs(float64(lobes[reach+i])))
	}
	return top
}
