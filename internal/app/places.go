package app

import (
	"math"
	"sort"

	"earshot/internal/match"
	"earshot/internal/shoot"
)

// How many places of one sound are kept for a clip beside the best, and how
// near two of them are one, in seconds.
const (
	otherPlaces = 2
	placesApart = 0.1
)

// over returns the better of two places of a clip in a sound, which takes the
// other and those it had among its own. was may be nil.
func (l *link) over(was *link) *link {
	if was == nil {
		return l
	}
	best, second := was, l
	if l.Found.Rest+l.Found.Strength > was.Found.Rest+was.Found.Strength {
		best, second = l, was
	}
	all := append(append(best.Others, second.Others...), second.slim())
	sort.SliceStable(all, func(i, j int) bool { return all[i].Found.Strength > all[j].Found.Strength })
	best.Others = nil
	for _, o := range all {
		if len(best.Others) < otherPlaces && !best.near(&o) {
			best.Others = append(best.Others, o)
		}
	}
	return best
}

// near tells whether o is the place of l, or one of its others.
func (l *link) near(o *link) bool {
	for _, x := range append([]link{*l}, l.Others...) {
		if math.Abs(x.Found.Sound(o.Found.Mid)-o.Found.Sound(o.Found.Mid)) < placesApart {
			return true
		}
	}
	return false
}

// slim is a copy without windows and others.
func (l *link) slim() link {
	f := *l.Found
	f.Locals = nil
	return link{ClipTrack: l.ClipTrack, SoundTrack: l.SoundTrack, Score: l.Score, Found: &f, Voice: l.Voice}
}

// places lists every place that was measured, the best of each clip and sound
// first.
func (d *Day) places(m *measurer) (best, all []match.Link) {
	for i, row := range m.links {
		for k, l := range row {
			if l == nil || d.refused(i, k) {
				continue
			}
			best = append(best, toLink(i, k, d.clips[i], d.sounds[k], l))
			for _, o := range l.Others {
				all = append(all, toLink(i, k, d.clips[i], d.sounds[k], &o))
			}
		}
	}
	return best, append(append([]match.Link{}, best...), all...)
}

// mostCandidates is how many are listed with a take that is unsure.
const mostCandidates = 5

// candidates are the other places that the recordings of decision at might
// have, for the document.
func (d *Day) candidates(decisions []match.Decision, at int, places []match.Link, clips, sounds []match.Party) []shoot.Candidate {
	out := []shoot.Candidate{}
	if decisions[at].Verdict == match.Sure {
		return out
	}
	for _, r := range match.Rivals(decisions, at, places, clips, sounds, mostCandidates) {
		out = append(out, shoot.Candidate{Clip: d.clips[r.Link.Clip].path, Sound: d.sounds[r.Link.Sound].path,
			Offset: r.Link.Offset(), Strength: r.Link.Strength, For: append([]string{}, r.For...), Against: append([]string{}, r.Against...)})
	}
	return out
}

// What is stated of takes that were placed through others, which no heap has
// measured, and the least of any that is unsure: stated rather high.
const (
	chanceThrough = 0.01
	chanceLaid    = 0.3 // where nothing but the others says so
	leastUnsure   = 0.02
)

// statedChance is a decision's chance of error for the document.
func statedChance(d match.Decision) float64 {
	switch {
	case d.Chance == 0 && d.Verdict == match.Sure:
		return chanceThrough
	case d.Chance == 0:
		return chanceLaid
	case d.Verdict != match.Sure:
		return math.Max(d.Chance, leastUnsure)
	}
	return d.Chance
}
