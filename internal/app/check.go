package app

import (
	"context"
	"fmt"
	"math"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/fault"
	"earshot/internal/media"
)

// A written clip is opened again and measured before it gets its name: a short
// one from end to end, as prove does, a long one in spots where there is most
// to hear.
const (
	spotLength = 16.0 // seconds
	spotApart  = 45.0 // seconds of clip to a spot
	leastSpots = 3
	mostSpots  = 6
)

// check measures the clip written to path.
func (m *marriage) check(ctx context.Context, w *wedding, path string) error {
	m.tell.step("proving", w.out.Clip, 0, 0)
	info, err := m.app.Engine.Probe(ctx, path)
	if err != nil {
		return err
	}
	c := &checker{app: m.app, take: w.take, good: laid{path, &info, 0}, scratch: laid{path, &info, 1 + w.take.link.ClipTrack}}
	if m.opt.Scratch == "drop" {
		c.scratch = laid{w.take.clip.path, &w.take.clip.info, w.take.link.ClipTrack}
	}
	p, err := c.spots(ctx, w.made.earlier)
	if err != nil {
		return err
	}
	if p == nil {
		if p, err = c.whole(ctx, m.opt.Scratch == "drop"); err != nil {
			return err
		}
	}
	p.File, p.Scratch = w.out.Out, "track 2"
	if c.scratch.path != path {
		p.Scratch = c.scratch.path
	}
	w.out.Proof = p
	if p.State == OutOfSync {
		return &fault.Error{Kind: fault.Internal, Op: "prove the finished clip", Subject: w.out.Out,
			Err:  fmt.Errorf("it came out %s on the scratch; it was not kept", earlyOrLate(p.Late)),
			Hint: "please report this, with what earshot doctor says"}
	}
	return nil
}

// A checker holds a written clip's good sound against the scratch.
type checker struct {
	app           *App
	take          *dayTake
	good, scratch laid
}

// laid names one sound track of one file.
type laid struct {
	path   string
	info   *media.Info
	stream int
}

// whole measures from end to end.
func (c *checker) whole(ctx context.Context, dropped bool) (*Proof, error) {
	r := &reader{app: c.app, fresh: true, whole: true, tell: newTeller(nil)}
	file, err := r.read(ctx, c.good.path)
	if err != nil {
		return nil, err
	}
	good, scratch := side{file, 0}, side{file, c.scratch.stream}
	if dropped {
		scratch = side{c.take.clip, c.take.link.ClipTrack}
	}
	if err := enoughTracks(good, scratch); err != nil {
		return nil, err
	}
	return c.app.prove(ctx, good, scratch)
}

// A spot is what one short stretch says by itself.
type spot struct {
	at, late, sigma float64 // clip seconds; seconds
	found           *align.Found
}

// spots measures a long clip in spots. It returns nil when the clip is short,
// or when fewer than three spots are clear: then the whole must speak.
func (c *checker) spots(ctx context.Context, earlier float64) (*Proof, error) {
	from, to := c.take.found.From+0.5, c.take.found.To-0.5-earlier
	n := min(mostSpots, int((to-from)/spotApart))
	if n < leastSpots {
		return nil, nil
	}
	sketch := c.take.clip.tracks[c.take.link.ClipTrack].sketch
	var clear []spot
	part := (to - from) / float64(n)
	for i := range n {
		lo := from + part*float64(i)
		start := sketch.Busiest(lo, lo+part, spotLength)
		s, err := c.spot(ctx, start, earlier)
		if err != nil {
			return nil, err
		}
		if s != nil {
			clear = append(clear, *s)
		}
	}
	if len(clear) < leastSpots {
		return nil, nil
	}
	p := &Proof{State: NoTelling, Windows: []SeamPoint{}, Limits: []LimitCheck{}}
	p.fill(join(clear), earlier)
	p.judge(frameOf(c.take.clip))
	p.Why = append(p.Why, fmt.Sprintf("measured in %d spots of %.0f s along the clip", len(clear), spotLength))
	return p, nil
}

// spot measures the stretch that begins at start; nil when it is not clear.
func (c *checker) spot(ctx context.Context, start, earlier float64) (*spot, error) {
	var tracks [2]align.Samples
	for i, l := range []laid{c.scratch, c.good} {
		req := media.Decode{Path: l.path, Info: l.info, Stream: l.stream, Rate: dsp.ProxyRate, Mono: true, From: start, To: start + spotLength}
		err := c.app.Engine.Decode(ctx, req, func(block []float32) error {
			tracks[i] = append(tracks[i], block...)
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	mid := spotLength / 2
	f, err := align.Find(tracks[0], tracks[1], align.Guess{At: mid, Sound: mid - earlier})
	if err != nil || f == nil || f.Strength < proveFrom || f.Rest < proveFrom/2 {
		return nil, err
	}
	s := &spot{at: start + f.Mid, late: f.Sound(f.Mid) - f.Mid, sigma: math.Max(f.MidSigma, 2e-6), found: f}
	for i := range f.Locals { // each window's own place, against no line
		l := &f.Locals[i]
		l.Left += f.Sound(l.At) - l.At
		l.At += start
	}
	return s, nil
}

// join draws a line through spots by least squares, each by its weight, and
// puts all their windows against it.
func join(spots []spot) *align.Found {
	var w, wt, wl float64
	for _, s := range spots {
		k := 1 / (s.sigma * s.sigma)
		w, wt, wl = w+k, wt+k*s.at, wl+k*s.late
	}
	mid, late := wt/w, wl/w
	var tt, tl float64
	for _, s := range spots {
		k := 1 / (s.sigma * s.sigma)
		tt += k * (s.at - mid) * (s.at - mid)
		tl += k * (s.at - mid) * (s.late - late)
	}
	drift := tl / tt
	f := &align.Found{Mid: mid, MidSigma: math.Sqrt(1 / w), DriftSigma: math.Sqrt(1 / tt)}
	f.Drift, f.Offset = drift, late-drift*mid
	f.From, f.To = spots[0].at, spots[len(spots)-1].at
	f.Strength = math.Inf(1)
	for _, s := range spots {
		f.Strength = math.Min(f.Strength, s.found.Strength)
		for _, l := range s.found.Locals {
			l.Left -= late + drift*(l.At-mid)
			f.Locals = append(f.Locals, l)
		}
	}
	return f
}
