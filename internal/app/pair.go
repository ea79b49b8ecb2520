package app

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"sort"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/fault"
	"earshot/internal/match"
	"earshot/internal/shoot"
	"earshot/internal/store"
)

// PairOptions asks which sound belongs to which clip, and where.
type PairOptions struct {
	Paths    []string       // files and folders, as the person gave them
	Skip     string         // a folder to leave out, "" = none
	Fresh    bool           // measure anew, leave the cache unread
	Shoot    string         // folder of a shoot whose words are heeded; "" = none
	Progress func(Progress) // may be nil
	News     func(News)     // may be nil
}

// PairResult is a measured shoot.
type PairResult struct {
	Document shoot.Document
	Notes    []string  // what was passed over or mended, in words
	Meetings []Meeting // every clip with every sound that matched at all, for measuring
}

// Pair measures the recordings under opt.Paths. A recording that cannot be
// read is reported in the document, not as an error.
func (a *App) Pair(ctx context.Context, opt PairOptions) (*PairResult, error) {
	d, err := a.Measure(ctx, opt)
	if err != nil {
		return nil, err
	}
	return d.Result(), nil
}

func (d *Day) identities() map[store.Identity]bool {
	keep := map[store.Identity]bool{}
	for _, r := range append(append([]*recording{}, d.clips...), d.sounds...) {
		keep[r.id] = true
	}
	return keep
}

// sort parts what was read into clips, sounds and failures.
func (d *Day) sort(g *gathered, read []readResult) {
	doc := &d.result.Document
	*doc = shoot.Document{Version: 1, Takes: []shoot.Take{}, Alone: []shoot.Alone{}, Failed: []shoot.Failed{}}
	for _, b := range g.bad {
		doc.Failed = append(doc.Failed, shoot.Failed{Path: b.path, Error: describe(b.err)})
	}
	married := 0
	for i, res := range read {
		switch {
		case res.err != nil:
			doc.Failed = append(doc.Failed, shoot.Failed{Path: g.files[i], Error: describe(res.err)})
			continue
		case isMarried(res.rec.info):
			married++
			continue
		case res.rec.clip():
			d.clips = append(d.clips, res.rec)
		default:
			d.sounds = append(d.sounds, res.rec)
		}
		for _, w := range res.rec.info.Warnings {
			d.result.Notes = append(d.result.Notes, fault.Quote(res.rec.path)+": "+w)
		}
	}
	if married > 0 {
		d.result.Notes = append(d.result.Notes, "passed over "+count(married, "clip")+" that Earshot wrote")
	}
}

// describe is an error in one line, with its hint.
func describe(err error) string {
	s := err.Error()
	if h := fault.HintOf(err); h != "" {
		s += "; " + h
	}
	return s
}

// decide turns measurements into takes and loners.
func (d *Day) decide(ctx context.Context, m *measurer) error {
	clips, sounds := parties(d.clips), parties(d.sounds)
	links, _ := d.places(m)
	if err := d.hearAcross(ctx, m, match.Assign(clips, sounds, roughly(links))); err != nil {
		return err
	}
	links, places := d.places(m)
	decisions := match.Assign(clips, sounds, links)
	web, err := d.weave(ctx, m, decisions)
	if err != nil {
		return err
	}
	decisions = web.decisions
	drifts := newDriftBook(decisions, m)
	drifts.web = web
	usedClip, usedSound := map[int]bool{}, map[int]bool{}
	for n, dec := range decisions {
		if err := ctx.Err(); err != nil {
			return err
		}
		i, k := dec.Link.Clip, dec.Link.Sound
		usedClip[i], usedSound[k] = true, true
		l := m.links[i][k]
		found, from, why := drifts.settle(i, k, l.Found)
		t := dayTake{clip: d.clips[i], sound: d.sounds[k], link: l, found: found}
		d.takes = append(d.takes, t)
		take := t.document(dec, from, append(dec.Why, why...))
		take.Through = web.through[[2]int{i, k}]
		take.Chance = statedChance(dec)
		take.Candidates = d.candidates(decisions, n, places, clips, sounds)
		d.result.Document.Takes = append(d.result.Document.Takes, take)
	}
	d.result.Meetings = d.meetings(m, links, decisions)
	d.loners(d.clips, usedClip, m)
	d.loners(d.sounds, usedSound, m)
	return d.whose(ctx)
}

func toLink(i, k int, clip, sound *recording, l *link) match.Link {
	f := l.Found
	link := match.Link{Clip: i, Sound: k, Strength: f.Strength, Rest: f.Rest, Score: l.Score,
		From: f.From, To: f.To, Start: f.At(f.From),
		Halves: f.Halves, HalfHeights: f.HalfHeights, Drift: f.Drift,
		Claps: len(claps(clip.tracks[l.ClipTrack].Onsets, sound.tracks[l.SoundTrack].Onsets, f.At)),
		Thin:  clip.tracks[l.ClipTrack].Talk.Busy < thin, Sigma: f.MidSigma, Astray: f.Astray,
	}
	link.Lead, link.Beyond = math.NaN(), math.NaN()
	if v := l.Voice; v != nil {
		link.Lead, link.Beyond, link.Steady = v.Leads(), v.Beyond(), v.Steady
	}
	return link
}

// thin is how many seconds of a clip must stand out of its noise for it to
// hold more than a clap.
const thin = 1.5

// parties puts each device's recordings in the order of their names.
func parties(recs []*recording) []match.Party {
	out := make([]match.Party, len(recs))
	byDevice := map[string][]int{}
	for i, r := range recs {
		out[i].Device = r.device
		if made := r.info.Created; !made.IsZero() {
			out[i].Made = float64(made.UnixMilli()) / 1e3
		}
		byDevice[r.device] = append(byDevice[r.device], i)
	}
	for _, list := range byDevice {
		sort.SliceStable(list, func(a, b int) bool { return naturalLess(recs[list[a]].path, recs[list[b]].path) })
		for n, i := range list {
			out[i].Order = n
		}
	}
	return out
}

func (t *dayTake) document(dec match.Decision, from shoot.DriftFrom, why []string) shoot.Take {
	f := &t.found
	line := firstLine(f)
	out := shoot.Take{
		Clip: t.clip.path, Sound: t.sound.path,
		Offset: line.Offset, Drift: line.Drift * 1e6,
		OffsetSigma: f.SigmaAt(0), DriftSigma: f.DriftSigma * 1e6, DriftFrom: from,
		Verdict: verdictOf(dec.Verdict),
		Spans:   spansOf(f),
		Claps:   []shoot.Clap{}, Seam: seamOf(f), Why: why,
		Chance: dec.Chance, Candidates: []shoot.Candidate{},
	}
	for _, c := range claps(t.clip.tracks[t.link.ClipTrack].Onsets, t.sound.tracks[t.link.SoundTrack].Onsets, f.At) {
		out.Claps = append(out.Claps, shoot.Clap{Clip: c[0], Sound: c[1]})
	}
	out.Why = append(out.Why, spansWhy(f)...)
	out.Why = append(out.Why, t.tracksWhy()...)
	if f.Inverted {
		out.Why = append(out.Why, "one microphone's polarity is inverted against the other's")
	}
	return out
}

// tracksWhy says which track carried the match where there are several.
func (t *dayTake) tracksWhy() (why []string) {
	if n := len(t.clip.tracks); n > 1 {
		why = append(why, fmt.Sprintf("the clip's sound track %d of %d carried the match", t.link.ClipTrack+1, n))
	}
	if n := len(t.sound.tracks); n > 1 {
		why = append(why, fmt.Sprintf("the sound's track %d of %d carried the match", t.link.SoundTrack+1, n))
	}
	return why
}

// seamOf sums up the leftover in the windows that heard the match clearly by
// themselves. Where fewer than three did, the disagreement of the two halves
// stands in, or the sigma of the whole.
func seamOf(f *align.Found) shoot.Seam {
	left := heardLeft(f.Locals)
	if len(left) < 3 {
		v := f.Halves * 1e3
		if math.IsNaN(v) {
			v = f.MidSigma * 1e3
		}
		return shoot.Seam{Median: v, P95: v, Max: v}
	}
	return shoot.Seam{Median: dsp.Quantile(left, 0.5), P95: dsp.Quantile(left, 0.95), Max: left[len(left)-1]}
}

// heardLeft is the size of the leftovers of the windows that heard, sorted, in
// milliseconds.
func heardLeft(locals []align.Local) []float64 {
	var left []float64
	for _, l := range locals {
		if l.Heard {
			left = append(left, math.Abs(l.Left)*1e3)
		}
	}
	sort.Float64s(left)
	return left
}

// strangers is the most that recordings of different moments have been seen to
// match by chance, in standard deviations of the noise.
const strangers = 7.0

// loners reports the recordings that belong to no other.
func (d *Day) loners(recs []*recording, used map[int]bool, m *measurer) {
	for n, r := range recs {
		if used[n] {
			continue
		}
		alone := shoot.Alone{Path: r.path, Kind: "sound", Why: lonerWhy(r, len(d.clips), "clip")}
		others, pair := d.clips, func(other int) (clip, sound int) { return other, n }
		if r.clip() {
			alone.Kind, alone.Why = "clip", lonerWhy(r, len(d.sounds), "sound")
			others, pair = d.sounds, func(other int) (clip, sound int) { return n, other }
		}
		best := 0.0
		var refused []string
		for other, o := range others {
			i, k := pair(other)
			if d.refused(i, k) {
				refused = append(refused, fmt.Sprintf("you said that %s does not belong to it", fault.Quote(filepath.Base(o.path))))
			} else if l := m.links[i][k]; l != nil {
				best = max(best, l.Found.Strength)
			}
		}
		alone.Why = append(refused, alone.Why...)
		if best > 0 {
			like := "what unrelated recordings give"
			if best > strangers {
				like = "which other evidence speaks against"
			}
			alone.Why = append(alone.Why, fmt.Sprintf("the nearest thing to a match stands %.1f times above the noise, %s", best, like))
		}
		d.result.Document.Alone = append(d.result.Document.Alone, alone)
	}
}

// tooLittle is a length of sound, seconds, in which chance often looks like a
// match: shorter recordings are seldom found.
const tooLittle = 2.0

func lonerWhy(r *recording, others int, noun string) []string {
	silent, longest := true, 0.0
	for _, t := range r.tracks {
		silent = silent && t.Silent
		longest = max(longest, float64(t.Samples)/dsp.ProxyRate)
	}
	switch {
	case len(r.tracks) == 0:
		return []string{"it has no sound track to compare"}
	case silent:
		return []string{"its sound is silence from end to end"}
	case others == 0:
		return []string{"there is no " + noun + " to compare it with"}
	}
	why := []string{"no " + noun + " heard the same moment"}
	if longest < tooLittle {
		why = append(why, fmt.Sprintf("with %.1f s of sound it is too short to be told from chance", longest))
	}
	return why
}
