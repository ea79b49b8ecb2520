package align

import "math"

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
// The stack along p's slope is flattened first (see flat), so that a short bright
// arrival is not lost beside a long dull one, and taken apart into arrivals. The
// first counts that lies within what a room can put between itself and p, has an
// eighth of the strongest one's height and stands clear of the noise; a quarter,
// where no crowd of reflections is as strong as that one, and much more is not
// heard than that one, since then it is the direct sound itself, and what leads
// it a desk or a cable; more where little of the band is left, since a narrow
// band's own pattern looks like arrivals; the room's response must hold it there,
// if it tells. Before it must be silence, as far as the room's response tells
// what is no path: a body mic that hears the talker across the room has
// reflections of its own there, and nothing tells the direct sound. A weak one
// must be a top of the room's response too, which is not whitened, and be no
// mirror image of another about p: whitening mirrors strong reflections.
// Microphones and mouths spread an arrival over a tenth of a millisecond or two:
// what follows the first as closely is part of it. Where in such a burst the
// direct sound stands, the room's response says; where it cannot, a third of the
// way in, since bursts rise faster than they die.
//
// It returns how much larger than p's the direct sound's lag is, and the
// deviation that the room leaves in it, seconds: what noise moves the response's
// top by where that tells; elsewhere what the reflections move it by (see moved),
// and half the burst's own length.
// Where nothing tells the direct sound, p stays; the deviation is then that of
// the reflections, if p is likely one of them (see hides).
//
// Where the camera is the near microphone and the sound comes from across the
// room, its reflections lie at larger lags, and all this holds the other way
// round. Where both may be, what either leaves before and behind its direct sound
// tells (see eitherSide); where that does not either, the deviation says so.
func (s *stack) direct(p peak) (lead, blur float64) {
	const (
		leans  = 0.8   // times the power beyond p
		slack  = 2.0   // ratio (see eitherSide) up to which the body mic is near if so
		hidden = 0.005 // seconds: how far the strongest reflections have been seen from the direct sound
		far    = 0.010 // seconds: a lead that is doubtful where the camera would be the near microphone
	)
	t := s.along(p.slope)
	r := t.directOf(p)
	turned := t.mirrored().directOf(p.mirrored())
	ratio := t.beyond(p.delta+r.lead, 1) / t.beyond(p.delta-turned.lead, -1)
	if r.told && t.beyond(p.delta, 1) <= leans*t.beyond(p.delta, -1) && !(ratio > slack) {
		return r.lead, r.blur
	}
	least, most := eitherSide(r, turned)
	if turned.lead > far {
		turned.blur = math.Max(turned.blur, hidden)
	}
	switch {
	case turned.told && ratio > most:
		return -turned.lead, turned.blur
	case r.told && ratio > least:
		return r.lead, math.Max(hidden, r.blur)
	case r.told:
		return r.lead, r.blur
	case t.hides(p):
		return 0, math.Max(hidden, math.Max(r.blur, turned.blur))
	}
	return 0, 0
}

// eitherSide is between which ratios of the power before the one reading's direct
// sound to that behind the other's either may be the near microphone; under it
// the body mic is, over it the camera. Whitening mirrors what a reading has behind
// its direct sound, so that of a reading that has p itself the other mostly has
// its mirror image. The figures are from the rig in docs/accuracy.md: with the body
// mic near, the ratio is at most 1.4 where that reading has p, and 0.35 where the
// other has it; with the camera near it is at least 5 and 0.55 there. That is of
// first reflections from a floor or a desk; of later ones the rig has few. Where less
// lies beyond p than behind it and p is the first reading's, but not the other's, the
// ratio is at most 2.4 with the body mic near (760 readings, two of them over 2), and
// at least 2.6 with the camera near. Where one of the readings tells nothing, there is
// nothing between.
func eitherSide(r, turned led) (least, most float64) {
	const (
		apart = 1e-4  // seconds: nearer, it is all one which microphone is the near one
		soon  = 0.003 // seconds: a metre
		more  = 4.0   // times the power
	)
	if !r.told || !turned.told {
		return math.Inf(1), more
	}
	switch one, other := r.lead > apart, turned.lead > apart; {
	case one && other:
		return 0.65, more
	case one && r.lead < soon:
		return 0.4, 0.65
	case one:
		return 0.4, more
	case other && turned.lead < soon:
		return 1.55, 2.5
	case other:
		return 1.55, more
	}
	return more, more
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
	const (
		looser  = 1.9    // times as far reflections move a top where little of the band is left
		several = 3.3    // and if it is one of a burst's
		heaped  = 0.85   // times as far where they hold twenty times its power
		soon    = 0.0003 // seconds: from the direct sound to where its own pattern may stand higher
		later   = 0.0005 // where little of the band is left
	)
	hides := t.hides(p)
	o := t.openingOf(p, hides)
	if o.parts == 0 {
		return led{blur: spreadOf(o.arrivals, p.delta)}
	}
	top, clear := t.topOf(o)
	var lead, blur, moved float64
	switch {
	case clear && (o.parts > 1 || math.Abs(top.lag-o.first) > sameLag):
		lead, blur, moved = top.lag-p.delta, top.unsure, top.noise
	case o.parts == 1 && math.Abs(o.first-p.delta) < sameLag:
		moved = t.moved(p.delta) // the stack's own top is the better estimate of one arrival
	default:
		lead, blur = o.first-p.delta-o.length()/3, o.length()/2
		moved = t.moved(p.delta + lead)
		if hides {
			moved *= heaped
		}
	}
	switch {
	case o.blunt && o.parts > 1:
		moved *= several
	case o.blunt:
		moved *= looser
	}
	switch {
	case hides && o.blunt:
		blur = math.Max(blur, math.Max(o.length()/2, outdone(o.arrivals, p.delta+lead, later)))
	case hides && clear:
		blur = math.Max(blur, top.unsure)
	case hides:
		blur = math.Max(blur, outdone(o.arrivals, p.delta+lead, soon))
	}
	return led{lead, math.Hypot(blur, moved), true}
}

// sameLag is how near two lags are one, seconds: half a sample.
const sameLag = 0.00003

// topOf is where the direct sound stands in an opening as the room's response has
// it; nothing is clear where the slope smears it, or where what stands there rings.
func (t *row) topOf(o opening) (top burstTop, clear bool) {
	if t.smear >= dull {
		return burstTop{}, false
	}
	top, clear = t.heard.firstTop(o.first, o.last)
	return top, clear && !(o.parts == 1 && top.lag > o.first+sameLag && t.heard.rings(top.lag, o.first))
}

// moved is what the reflections after the direct sound at lag at move its top by,
// as a deviation in seconds: with the square root of their power beside its own,
// which is that of its burst, and more at times (see looseness). What is heard
// before it is no reflection, but the sound's likeness to itself. The
// figures are from the rig in docs/accuracy.md, where they hold from ten times the
// power of all reflections down to a hundredth.
func (t *row) moved(at float64) float64 {
	const by = 0.105e-6 // seconds
	mid := t.reach + int(math.Round(at/lagStep))
	_, height := highestPoint(t.r, max(0, mid-points(burst)), min(len(t.r)-1, mid+points(burst)))
	if height == 0 {
		return 0
	}
	return by * t.moves * math.Sqrt(math.Max(0, t.beyond(at, -1)-t.beyond(at, 1))) / math.Abs(height)
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

// points is how many points of a correlation so many seconds are.
func points(seconds float64) int { return int(seconds / lagStep) }
