package app

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sort"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/fault"
	"earshot/internal/match"
)

// ProveOptions asks how well a finished file's good sound lies on its scratch.
type ProveOptions struct {
	File     string
	Scratch  string // a second file whose sound is the scratch; "" = File's second sound track
	Progress func(Progress)
}

// The states of a Proof.
const (
	InSync    = "in sync"
	OutOfSync = "out of sync"
	NoTelling = "could not tell"
)

// A Proof is the leftover between good sound and scratch.
//
// Late is positive when the good sound is heard after the scratch, negative
// when before: +40 means the good sound is laid 40 ms late.
type Proof struct {
	File       string       `json:"file"`
	Scratch    string       `json:"scratch"` // "track 2" or a path
	State      string       `json:"state"`
	Late       float64      `json:"late_ms"` // in the middle of what was heard
	LateSigma  float64      `json:"late_sigma_ms"`
	Drift      float64      `json:"drift_ppm"` // positive = the good sound gets later along the clip
	DriftSigma float64      `json:"drift_sigma_ppm"`
	Seam       ProofSeam    `json:"seam_ms"`
	Windows    []SeamPoint  `json:"windows"`
	Limits     []LimitCheck `json:"limits"`
	Why        []string     `json:"why"`
}

// ProofSeam sums up the windows, as absolute milliseconds.
type ProofSeam struct {
	Median float64 `json:"median"`
	P95    float64 `json:"p95"`
	Max    float64 `json:"max"`
	Heard  int     `json:"windows_heard"` // windows with a clear peak
	Of     int     `json:"windows"`
}

// A SeamPoint is one window of the seam.
type SeamPoint struct {
	At   float64 `json:"at_s"`    // middle of the window, clip seconds
	Late float64 `json:"late_ms"` // sign as Proof.Late
}

// A LimitCheck holds the seam against one published limit.
type LimitCheck struct {
	Name   string  `json:"name"`     // e.g. "ITU-R BT.1359-1 detectability"
	Early  float64 `json:"early_ms"` // how early the sound may be
	LateMs float64 `json:"late_ms"`  // how late
	Pass   bool    `json:"pass"`
}

// limits are the published ones that a finished clip is held against, in
// milliseconds of sound early and late on the picture.
var limits = []LimitCheck{
	{Name: "EBU R37, each production stage", Early: 5, LateMs: 15},
	{Name: "ATSC IS-191, at the encoder", Early: 15, LateMs: 45},
	{Name: "ITU-T J.100, programme exchange", Early: 20, LateMs: 40},
	{Name: "EBU R37, to the transmitter", Early: 40, LateMs: 60},
	{Name: "ITU-R BT.1359-1, detectability", Early: 45, LateMs: 125},
	{Name: "ITU-R BT.1359-1, acceptability", Early: 90, LateMs: 185},
}

// Prove measures a finished file, whoever made it.
func (a *App) Prove(ctx context.Context, opt ProveOptions) (*Proof, error) {
	tell := newTeller(opt.Progress)
	tell.expect([]string{opt.File, opt.Scratch})
	r := &reader{app: a, tell: tell, whole: true}
	file, err := r.read(ctx, opt.File)
	if err != nil {
		return nil, err
	}
	good, scratch := side{file, 0}, side{file, 1}
	name := "track 2"
	if opt.Scratch != "" {
		other, err := r.read(ctx, opt.Scratch)
		if err != nil {
			return nil, err
		}
		scratch, name = side{other, 0}, opt.Scratch
	}
	if err := enoughTracks(good, scratch); err != nil {
		return nil, err
	}
	p, err := a.prove(ctx, good, scratch)
	if err != nil {
		return nil, err
	}
	p.File, p.Scratch = opt.File, name
	return p, nil
}

// A side is one sound track of one recording.
type side struct {
	rec   *recording
	track int
}

func enoughTracks(good, scratch side) error {
	for _, s := range []side{good, scratch} {
		if s.track < len(s.rec.tracks) {
			continue
		}
		why, hint := "it has no sound track", "name a finished clip"
		if len(s.rec.tracks) == 1 {
			why = "it has one sound track, so there is no scratch in it to hold the good sound against"
			hint = "name the camera's clip with --scratch"
		}
		return &fault.Error{Kind: fault.Unreadable, Op: "prove", Subject: s.rec.path, Err: errors.New(why), Hint: hint}
	}
	return nil
}

// prove measures good against scratch.
func (a *App) prove(ctx context.Context, good, scratch side) (*Proof, error) {
	p := &Proof{State: NoTelling, Windows: []SeamPoint{}, Limits: []LimitCheck{}}
	for _, s := range []side{good, scratch} {
		if s.rec.tracks[s.track].Silent {
			p.Why = append(p.Why, fmt.Sprintf("sound track %d of %s is silence from end to end", s.track+1, fault.Quote(s.rec.path)))
			return p, nil
		}
	}
	f, err := a.proveFind(ctx, good, scratch)
	if err != nil {
		return nil, err
	}
	if f == nil || !sane(f) || f.Strength < proveFrom {
		p.Why = append(p.Why, "the good sound and the scratch do not match clearly anywhere: too short, too noisy, or not the same moment")
		return p, nil
	}
	shift, laid := shiftOf(good.rec.info)
	p.fill(f, shift)
	p.judge(frameOf(good.rec, scratch.rec))
	p.judgeSpans(f, shift, frameOf(good.rec, scratch.rec))
	if laid != "" {
		p.Why = append(p.Why, laid+"; the figures are against that place")
	}
	if lone, partly := goodOf(good.rec.info); partly {
		p.Why = append(p.Why, fmt.Sprintf("measured from %.1f to %.1f s, where the good sound plays alone", lone.from, lone.to))
	}
	return p, nil
}

// proveFrom is the strength a match needs, as for a sure take.
const proveFrom = 14

// proveFind looks where the good sound should lie and, when it is not there,
// everywhere. Where the scratch fills in for it, nothing is compared: that
// would be a sound against itself.
func (a *App) proveFind(ctx context.Context, good, scratch side) (found *align.Found, err error) {
	places, err := a.provePlaces(ctx, good, scratch)
	if err != nil {
		return nil, err
	}
	err = a.withProxies(ctx, scratch, good, func(x, y *proxy) (err error) {
		lone, partly := goodOf(good.rec.info)
		if !partly {
			lone = stretch{0, float64(max(x.Len(), y.Len())) / dsp.ProxyRate}
		}
		at := (lone.from + lone.to) / 2
		if len(places) > 0 {
			at = math.Max(lone.from, math.Min(lone.to, places[0].At))
		}
		guesses := []align.Guess{{At: at, Sound: at}}
		for _, c := range places {
			guesses = append(guesses, align.Guess{At: c.At, Sound: c.Sound})
		}
		found, err = bestWithin(x, y, lone, guesses)
		return err
	})
	return found, err
}

// bestWithin finds clip in sound near the first guess if it is plainly there,
// else where it is likeliest, by what both hold within a stretch.
func bestWithin(clip, sound align.Source, within stretch, guesses []align.Guess) (*align.Found, error) {
	first, last := int(math.Round(within.from*dsp.ProxyRate)), int(math.Round(within.to*dsp.ProxyRate))
	from := float64(first) / dsp.ProxyRate
	clip, sound = excerptOf(clip, first, last), excerptOf(sound, first, last)
	var best *align.Found
	for i, g := range guesses {
		if i == 1 && best != nil && best.Strength >= proveFrom {
			break
		}
		g.At, g.Sound = g.At-from, g.Sound-from
		f, err := align.Find(clip, sound, g)
		if err != nil {
			return nil, err
		}
		if f != nil && (best == nil || f.Strength > best.Strength) {
			best = f
		}
	}
	if best != nil {
		*best = best.Later(from)
	}
	return best, nil
}

// An excerpt is a part of a source: n samples from index first on.
type excerpt struct {
	of       align.Source
	first, n int
}

// excerptOf is what a source holds from index first to last, excluded.
func excerptOf(s align.Source, first, last int) excerpt {
	return excerpt{s, first, max(0, min(last, s.Len())-first)}
}

func (e excerpt) Len() int { return e.n }

func (e excerpt) ReadAt(dst []float32, at int) error {
	clear(dst)
	lo, hi := max(0, -at), min(len(dst), e.n-at)
	if lo >= hi {
		return nil
	}
	return e.of.ReadAt(dst[lo:hi], e.first+at+lo)
}

// provePlaces returns where the sketches say that the scratch may lie in the
// good sound.
func (a *App) provePlaces(ctx context.Context, good, scratch side) ([]match.Candidate, error) {
	clip, err := a.prepared(ctx, scratch, match.Whole)
	if err != nil {
		return nil, err
	}
	sketch, err := a.openSketch(ctx, good.rec, good.track)
	if err != nil {
		return nil, err
	}
	defer sketch.Close()
	found, err := match.Search([]*match.Clip{clip}, sketch, closePlaces)
	if err != nil {
		return nil, err
	}
	return found[0], nil
}

// fill writes down the leftover along the clip. shift is how much earlier, in
// seconds, the good sound was laid on purpose.
func (p *Proof) fill(f *align.Found, shift float64) {
	late := func(t float64) float64 { return (f.At(t) - t + shift) * 1e3 }
	p.Late, p.LateSigma = late(f.Mid), f.MidSigma*1e3
	p.Drift, p.DriftSigma = f.Drift*1e6, f.DriftSigma*1e6
	if math.IsInf(f.DriftSigma, 1) {
		p.Drift, p.DriftSigma = 0, align.Ordinary*1e6
	}
	p.Seam.Of = len(f.Locals)
	for _, l := range f.Locals {
		if l.Heard {
			p.Windows = append(p.Windows, SeamPoint{At: l.At, Late: late(l.At) + l.Left*1e3})
		}
	}
	p.Seam.Heard = len(p.Windows)
	if len(p.Windows) < 3 { // no window hears it alone: the whole must speak
		for _, t := range []float64{f.From, f.Mid, f.To} {
			p.Windows = append(p.Windows, SeamPoint{At: t, Late: late(t)})
		}
		p.Why = append(p.Why, "no window is clear by itself; the seam is that of the whole")
	}
	sizes := make([]float64, len(p.Windows))
	for i, w := range p.Windows {
		sizes[i] = math.Abs(w.Late)
	}
	sort.Float64s(sizes)
	p.Seam.Median, p.Seam.P95, p.Seam.Max = dsp.Quantile(sizes, 0.5), dsp.Quantile(sizes, 0.95), sizes[len(sizes)-1]
	p.Why = append(p.Why, fmt.Sprintf("the match stands %.0f times above the noise; %d of %d windows heard it alone", f.Strength, p.Seam.Heard, p.Seam.Of))
}

// A clock error counts as one when it is surely there and would be felt.
const (
	driftPPM  = 20.0 // between two mended clocks there is none
	driftSure = 4.0  // sigmas
	driftFelt = 0.7  // ms from end to end of the clip
)

// judge holds the seam against half a frame and the published limits.
func (p *Proof) judge(frame float64) {
	late := make([]float64, len(p.Windows))
	for i, w := range p.Windows {
		late[i] = w.Late
	}
	latest, earliest := dsp.Quantile(late, 0.95), dsp.Quantile(late, 0.05)
	for _, l := range limits {
		l.Pass = latest <= l.LateMs && -earliest <= l.Early
		p.Limits = append(p.Limits, l)
	}
	half := frame / 2 * 1e3
	span := p.Windows[len(p.Windows)-1].At - p.Windows[0].At
	drifts := math.Abs(p.Drift) >= driftPPM && math.Abs(p.Drift) >= driftSure*p.DriftSigma &&
		math.Abs(p.Drift)*span*1e-3 >= driftFelt
	p.State = InSync
	if p.Seam.P95 > half {
		p.State = OutOfSync
		p.Why = append(p.Why, fmt.Sprintf("the good sound is %s; half a frame (%.1f ms) is asked for", earlyOrLate(p.Late), half))
	}
	if drifts {
		p.State = OutOfSync
		p.Why = append(p.Why, fmt.Sprintf("the good sound runs %s along the clip by %.1f ppm: its clock was not mended", laterOrEarlier(p.Drift), math.Abs(p.Drift)))
	}
}

func earlyOrLate(ms float64) string {
	if ms < 0 {
		return fmt.Sprintf("%.1f ms early", -ms)
	}
	return fmt.Sprintf("%.1f ms late", ms)
}

func laterOrEarlier(ppm float64) string {
	if ppm < 0 {
		return "earlier and earlier"
	}
	return "later and later"
}

// frameOf is the length of a picture in seconds, at most that of 24 a second.
func frameOf(recs ...*recording) float64 {
	for _, r := range recs {
		for _, p := range r.info.Pictures {
			if f := p.Rate.Float(); f >= 24 {
				return 1 / f
			}
		}
	}
	return 1.0 / 24
}
