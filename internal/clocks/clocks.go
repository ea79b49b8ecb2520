// Package clocks lays all recordings of a day on one clock. Cameras and
// recorders each have a clock of their own; what pairs of them heard together
// ties these clocks to each other, often by several ways at once. All ties are
// solved together by least squares, as a survey's levelled lines are, and ways
// that should meet and do not are named.
//
// # The model
//
// Recording r of device d begins at start[r] on the common clock, and its own
// second t is at
//
//	T = start[r] + (1 + rate[d] + wander[r]) t
//
// A link says that what a hears at t, b hears at s = Offset + (1+Drift) t,
// measured best at t = Mid. It gives two equations, linear in the unknowns:
//
//	start[a] + (1 + q[a]) Mid = start[b] + (1 + q[b]) s(Mid)    to MidSigma
//	1 + q[a]                  = (1 + q[b]) (1 + Drift)          to DriftSigma
//
// with q = rate + wander. The common clock is that of the first recording of
// each group of recordings that hang together.
//
// Links that break their loop are found by data snooping: W. Baarda 1968, "A
// testing procedure for use in geodetic networks". One gross error makes the
// residual of its own link, over that residual's own deviation, the largest of
// all.
package clocks

import (
	"math"

	"earshot/internal/align"
)

// What is known of clocks and rooms beforehand.
const (
	Wander = 0.5e-6 // seconds per second: how a device's rate differs from recording to recording of a day
	Rates  = 70e-6  // seconds per second: of one device against another, two crystals of 50 ppm

	// Paths is by how much links may miss each other though all are right,
	// seconds, as a deviation: two talkers, 1.2 m from each other's
	// microphones, are heard 3.5 ms apart, and a link between recordings that
	// heard both is about one of them or the other.
	Paths = 0.005

	// Broken is how many of its deviations a link may miss the others by.
	// Deviations hold Paths, so that less than 25 ms never breaks a loop.
	Broken = 5.0
)

// A Recording is one file of a device.
type Recording struct {
	Device string
	Length float64 // seconds
}

// A Link says that what recording A hears at t, B hears at
// Offset + (1+Drift)·t.
type Link struct {
	A, B int // indices
	align.Alignment
	Mid        float64 // seconds of A: where B's time is known best
	MidSigma   float64 // seconds, of B's time at Mid
	DriftSigma float64 // seconds per second, independent of that; +Inf when the link cannot tell
	From, To   float64 // seconds of A that both heard
	Strength   float64 // in any unit: whom to believe where two stand against each other
}

// sigmaAt is the deviation of B's time for A's time t.
func (l *Link) sigmaAt(t float64) float64 {
	dt := t - l.Mid
	if math.IsInf(l.DriftSigma, 1) {
		return math.Hypot(l.MidSigma, dt*Rates)
	}
	return math.Hypot(l.MidSigma, dt*l.DriftSigma)
}

// Turned is the same link seen from B.
func (l Link) Turned() Link {
	fast := 1 + l.Drift
	out := l
	out.A, out.B = l.B, l.A
	out.Offset, out.Drift = -l.Offset/fast, 1/fast-1
	out.Mid, out.From, out.To = l.Sound(l.Mid), l.Sound(l.From), l.Sound(l.To)
	out.MidSigma, out.DriftSigma = l.MidSigma/fast, l.DriftSigma/fast
	return out
}

// A Check is what the others say of one link.
type Check struct {
	Left   float64 // seconds: B's time at Mid by all links together, less what the link says; 0 when nothing else ties the two
	Others float64 // seconds: B's time at Mid by all other links together, less what the link says
	Sigmas float64 // Left over its own deviation, paths left out of account
	Tied   bool    // others tie the same two recordings: the link closes a loop
	Broken bool    // it breaks its loop, and is left out
	Doubt  bool    // it stands in a loop that is broken, and may be what breaks it
	Open   float64 // seconds by which that loop is open
}

// A Day is all recordings on one clock.
type Day struct {
	Checks  []Check // link by link
	Freedom int     // equations more than unknowns, of links that were kept
	Squares float64 // sum of squared residuals in deviations: about Freedom when the stated deviations are true

	recs  []Recording
	part  []int // which group a recording belongs to
	parts []*network
	slot  []int // its place in the group
}

// Solve lays recordings on a common clock. Links between a recording and
// itself, or that hold no numbers, count as nothing.
func Solve(recs []Recording, links []Link) *Day {
	d := &Day{recs: recs, Checks: make([]Check, len(links)), part: make([]int, len(recs)), slot: make([]int, len(recs))}
	out := make([]bool, len(links))
	for i := range links {
		out[i] = !links[i].sound(len(recs))
	}
	for again := true; again; {
		again = false
		for _, g := range groups(len(recs), links, out) {
			if len(g.links) >= len(g.recs) { // there is a loop
				again = d.snoop(g, links, out) || again
			}
		}
	}
	for n, g := range groups(len(recs), links, out) {
		net := newNetwork(recs, links, g, 0)
		net.solve()
		for s, r := range g.recs {
			d.part[r], d.slot[r] = n, s
		}
		d.parts = append(d.parts, net)
		d.sum(net, g)
	}
	d.missed(links)
	return d
}

// sound tells whether a link holds numbers that can be used.
func (l *Link) sound(n int) bool {
	for _, v := range []float64{l.Offset, l.Drift, l.Mid, l.MidSigma} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return l.A != l.B && min(l.A, l.B) >= 0 && max(l.A, l.B) < n && l.MidSigma > 0 && l.DriftSigma > 0 &&
		math.Abs(l.Drift) < 0.5
}

// snoop leaves out the link of a group that breaks its loop worst, and tells
// whether there was one.
func (d *Day) snoop(g group, links []Link, out []bool) bool {
	net := newNetwork(d.recs, links, g, Paths)
	net.solve()
	over := 0.0
	scores := make([]float64, len(g.links))
	for i := range g.links {
		scores[i], _ = net.snooped(i)
		over = math.Max(over, scores[i])
	}
	if over <= Broken {
		return false
	}
	// Links that only this loop ties look alike: nothing tells which of them is
	// wrong. The weakest goes, and none of them is to be trusted.
	var suspects []int
	for i, k := range g.links {
		const alike = 0.98
		if scores[i] >= alike*over {
			suspects = append(suspects, k)
		}
	}
	weakest, open := suspects[0], 0.0
	for i, k := range g.links {
		if k == weakest {
			open = math.Abs(net.others(i))
		}
	}
	for _, k := range suspects {
		if links[k].Strength < links[weakest].Strength {
			weakest = k
		}
	}
	for _, k := range suspects {
		if c := &d.Checks[k]; k != weakest {
			c.Doubt, c.Open = true, math.Max(c.Open, open)
		}
	}
	d.Checks[weakest].Broken, out[weakest] = true, true
	return true
}

// sum takes over what a solved group says of its links.
func (d *Day) sum(net *network, g group) {
	for i, k := range g.links {
		c := &d.Checks[k]
		sigmas, tied := net.snooped(i)
		if c.Tied = tied; tied {
			c.Left, c.Sigmas = net.left(i), sigmas
			c.Others = net.others(i)
		}
	}
	d.Squares += net.squares()
	d.Freedom += net.freedom()
}

// missed says by how much the links that were left out miss the others.
func (d *Day) missed(links []Link) {
	for k := range d.Checks {
		if c, l := &d.Checks[k], &links[k]; c.Broken {
			if p, ok := d.Between(l.A, l.B); ok {
				c.Tied = true
				c.Left = p.Sound(l.Mid) - l.Sound(l.Mid)
				c.Others = c.Left
				c.Sigmas = math.Abs(c.Left) / math.Hypot(p.SigmaAt(l.Mid), l.MidSigma)
			}
		}
	}
}
