package align

import (
	"math"
	"slices"
)

// room is what reflections are late by, at most, where the direct sound is looked
// for among them, seconds: a path 10 m longer.
const room = 0.030

// hall is the same where much more is heard about p than itself, so that p may be
// any of a great room's reflections.
const hall = 0.038

// direct looks for the direct sound when p may be a reflection. The camera
// hears a reflection later than the direct sound, so that against the body mic
// it lies at a smaller lag: the direct sound is the arrival of the largest lag.
//
// The stack along p's slope is flattened first (see flat), so that a short
// bright arrival is not lost beside a long dull one, and taken apart into
// arrivals. The first counts that lies within what a room can put between
// itself and p, has an eighth of the strongest one's height and stands clear of
// the noise; a quarter, where no crowd of reflections is as strong as that one,
// and much more is not heard than that one, since then it is the direct sound
// itself, and what leads it a desk or a cable; more where little of the band is
// left, since a narrow band's own pattern looks like arrivals. Before it must
// be silence, as far as the room's response tells what is no path: a body mic
// that hears the talker across the room has reflections of its own there, and
// nothing tells the direct sound. A weak one must stand in the room's response
// too, which is not whitened, and be no mirror image of another about p: whitening
// mirrors strong reflections. Microphones
// and mouths spread an arrival over a tenth of a millisecond or two: what
// follows the first as closely is part of it. Where in such a burst the direct
// sound stands, the room's response says; where it cannot, a third of the way
// in, since bursts rise faster than they die.
//
// It returns how much larger than p's the direct sound's lag is, and the
// deviation that the room leaves in it, seconds: what the reflections move it by
// (see moved), and half the burst's own length where the response cannot tell.
// Where nothing tells the direct sound, p stays; the deviation is then that of
// the reflections, if p is likely one of them (see hides).
//
// Where the camera is the near microphone and the sound comes from across the
// room, its reflections lie at larger lags, and all this holds the other way
// round. Where both may be, the nearer body mic is taken for granted unless much
// more is heard beyond what would then be the direct sound.
func (s *stack) direct(p peak) (lead, blur float64) {
	const (
		leans  = 1.5   // times the power beyond p
		more   = 4     // times the power
		hidden = 0.005 // seconds: how far the strongest reflections have been seen from the direct sound
		far    = 0.010 // seconds: a lead that is doubtful where the camera would be the near microphone
	)
	t := s.along(p.slope)
	r := t.directOf(p)
	if r.told && t.beyond(p.delta, 1) <= leans*t.beyond(p.delta, -1) {
		return r.lead, r.blur
	}
	turned := t.mirrored().directOf(p.mirrored())
	switch {
	case turned.told && t.beyond(p.delta+r.lead, 1) > more*t.beyond(p.delta-turned.lead, -1):
		if turned.lead > far {
			turned.blur = math.Max(turned.blur, hidden)
		}
		return -turned.lead, turned.blur
	case r.told:
		return r.lead, r.blur
	case t.hides(p):
		return 0, math.Max(hidden, math.Max(r.blur, turned.blur))
	}
	return 0, 0
}

// A led is what one side of a row says of the direct sound: how much larger its
// lag is than p's, seconds; told is false where nothing comes out of silence
// there. blur is the deviation that is left, or that of the reflections about p.
type led struct {
	lead, blur float64
	told       bool
}

// directOf is direct for a camera across the room.
func (t *row) directOf(p peak) led {
	const same = 0.00003 // seconds: half a sample
	hides := t.hides(p)
	o := t.openingOf(p, hides)
	if o.parts == 0 {
		return led{blur: spreadOf(o.arrivals, p.delta)}
	}
	at, noise, unsure, clear := 0.0, 0.0, 0.0, false
	if t.smear < dull {
		at, noise, unsure, clear = t.heard.firstTop(o.first, o.last)
	}
	var lead, blur, moved float64
	switch {
	case clear && (o.parts > 1 || math.Abs(at-o.first) > same):
		lead, blur, moved = at-p.delta, unsure, noise
	case o.parts == 1 && math.Abs(o.first-p.delta) < same:
		moved = t.moved(p.delta) // the stack's own top is the better estimate of one arrival
	default:
		lead, blur = o.first-p.delta-o.length()/3, o.length()/2
		moved = t.moved(p.delta + lead)
	}
	switch {
	case hides && clear && !o.narrow:
		blur = math.Max(blur, unsure)
	case hides:
		blur = math.Max(blur, outdone(o.arrivals, p.delta+lead))
	}
	return led{lead, math.Hypot(blur, moved), true}
}

// An opening is the first burst of the arrivals about a place that comes out of
// silence.
type opening struct {
	arrivals    []peak  // all of them, the largest lag first
	first, last float64 // lags between which it lies, seconds
	parts       int     // how many arrivals it has, 0 where nothing comes out of silence
	narrow      bool    // so little of the band is left that arrivals run together
}

func (o *opening) length() float64 { return o.first - o.last }

// openingOf looks for the opening about p. hides tells whether p hides the direct
// sound.
func (t *row) openingOf(p peak, hides bool) opening {
	const (
		silence = 0.008 // seconds that must be heard before it
		after   = 0.003 // seconds: p itself may be a little before its flattened top
		share   = 0.12  // of the strongest arrival
		overall = 6     // deviations of the noise
		ghost   = 0.25  // of the strongest: what whitening makes of one strong reflection, on the other side
		much    = 9     // times the power of p: the reflections of a direct sound that seldom leads them
	)
	room := room
	if hides {
		room = hall
	}
	quiet := p.delta + room + silence + 0.002
	flat, lobes := t.flat(quiet)
	if flat == nil {
		return opening{}
	}
	noise := t.noiseAfter(flat, quiet)
	arrivals := t.arrivals(flat, lobes, p.delta+room+silence, p.delta-after, noise)
	highest := 0.0
	for _, a := range arrivals {
		highest = math.Max(highest, math.Abs(a.height))
	}
	asked := math.Max(share, 1.4*sideLobe(lobes, t.reach)-0.12)
	least := math.Max(asked*highest, overall*noise)
	holds := func(a peak) bool { return t.heard.holds(a.delta, p.delta-after, p.delta+room) }
	paths := arrivals // where the response is clear, those of them that it holds
	if t.heard.tells(p.delta-after, p.delta+room) {
		paths = slices.DeleteFunc(slices.Clone(arrivals), func(a peak) bool { return !holds(a) })
	}
	many := crowded(arrivals, highest) || t.beyond(p.delta, 1)+t.beyond(p.delta, -1) > much*p.height*p.height
	ghostly := func(rest []peak) bool {
		a := rest[0]
		return math.Abs(a.height) < ghost*highest && (!many || !abrupt(paths, a.delta, math.Abs(a.height), noise) || rising(rest) || !holds(a) || mirrors(arrivals, a, p.delta))
	}
	first, last, height, parts := firstBurst(arrivals, least, ghostly)
	sudden := abrupt(paths, first, height, noise)
	if !sudden { // the rise of a burst is not asked to be
		first, last, height, parts = firstBurst(arrivals, least, func(rest []peak) bool { return ghostly(rest) || rising(rest) })
		sudden = abrupt(paths, first, height, noise)
	}
	if first > p.delta+room || !sudden {
		parts = 0
	}
	return opening{arrivals, first, last, parts, lobes[t.reach+2] > runsTogether}
}

// runsTogether is how high a single arrival's pattern still stands a sample from
// its top where half of the band is left.
const runsTogether = 0.47

// outdone is how soon after lag at something stands higher than what is there,
// seconds: as little as the direct sound is where much hides it, either may be it
// and the other its own pattern where no response tells; 0 where nothing does.
func outdone(arrivals []peak, at float64) float64 {
	const same, soon = 0.00005, 0.0003 // seconds
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

// moved is what the reflections after the direct sound at lag at move its top by,
// as a deviation in seconds: with the square root of their power beside its own,
// which is that of its burst; more where they are clipped together. What is heard before it is no reflection, but the
// sound's likeness to itself. The figure is from the rig in docs/accuracy.md,
// where it holds from ten times the power of all reflections down to a hundredth.
func (t *row) moved(at float64) float64 {
	const by, clipping = 0.1e-6, 10 // seconds; by how many times what is clipped
	mid := t.reach + int(math.Round(at/lagStep))
	_, height := highestPoint(t.r, max(0, mid-points(burst)), min(len(t.r)-1, mid+points(burst)))
	if height == 0 {
		return 0
	}
	return by * (1 + clipping*t.hot) * math.Sqrt(math.Max(0, t.beyond(at, -1)-t.beyond(at, 1))) / math.Abs(height)
}

// spreadOf is how far arrivals lie from lag at, as a deviation by their power.
func spreadOf(arrivals []peak, at float64) float64 {
	sum, squares := 0.0, 0.0
	for _, a := range arrivals {
		h := a.height * a.height
		sum, squares = sum+h, squares+h*(a.delta-at)*(a.delta-at)
	}
	if sum == 0 {
		return 0
	}
	return math.Sqrt(squares / sum)
}

// burst is how long one arrival is, at most, as microphones and mouths spread it,
// seconds.
const burst = 0.00017

// firstBurst returns the lags between which the first burst of arrivals of at
// least a height lies, the height of its highest, and how many it has. no tells
// of an arrival, and those after it, that it begins none.
func firstBurst(arrivals []peak, least float64, no func(rest []peak) bool) (first, last, height float64, parts int) {
	for i, a := range arrivals {
		if math.Abs(a.height) < least || parts == 0 && no(arrivals[i:]) {
			continue
		}
		if parts == 0 {
			first = a.delta
		} else if first-a.delta > burst {
			break
		}
		parts, last, height = parts+1, a.delta, math.Max(height, math.Abs(a.height))
	}
	return first, last, height, parts
}

// abrupt tells whether a burst at lag first comes out of silence: whether few
// arrivals at larger lags, its own rise left out, are worth a word beside it, and
// it is clearly higher than all of them.
func abrupt(arrivals []peak, first, height, noise float64) bool {
	const rise, clearly, hardly, clear, few = 0.0006, 1.6, 6, 2, 4 // seconds; times as high, twice; deviations; arrivals that noise never makes
	n := 0
	for _, a := range arrivals {
		if a.delta <= first+rise {
			break
		}
		if clearly*math.Abs(a.height) > height {
			return false
		}
		if math.Abs(a.height) > math.Max(height/hardly, clear*noise) {
			n++
		}
	}
	return n < few
}

// crowded tells whether there are several arrivals, the highest among them, of
// nearly half of its height.
func crowded(arrivals []peak, highest float64) bool {
	const nearly, several = 0.4, 3
	n := 0
	for _, a := range arrivals {
		if math.Abs(a.height) >= nearly*highest {
			n++
		}
	}
	return n >= several
}

// mirrors tells whether an arrival may be what whitening makes of another: of one
// as far from p at smaller lags, as strong and of one sign.
func mirrors(arrivals []peak, a peak, p float64) bool {
	const about = 0.00004 // seconds
	for _, o := range arrivals {
		if math.Abs(o.delta+a.delta-2*p) < about && o.height/a.height >= 1 {
			return true
		}
	}
	return false
}

// rising tells whether the first of some arrivals is but the rise of a burst
// much stronger, as a loudspeaker or a microphone that was measured along with a
// room makes it: no reflection comes so soon after the direct sound.
func rising(arrivals []peak) bool {
	const soon, much = 0.0006, 2.5 // seconds; times as strong
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

// points is how many points of a correlation so many seconds are.
func points(seconds float64) int { return int(seconds / lagStep) }
