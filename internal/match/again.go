package match

import (
	"cmp"
	"math"
	"slices"
)

// mostRecorders is how many recorders may look like one.
const mostRecorders = 3

// A repeat says what a shoot holds that is heard at more than one moment, as
// music from a record.
type repeat struct {
	again bool
	lead  float64 // the greatest of what links lead by that others show to be wrong
}

// heardAgain looks for two clips of one camera that would lie in one place of a
// sound, and for a clip in more sounds than there are recorders. Of the former
// one is wrong, of the latter all but so many; which ones nobody knows, but not
// all can be those that lead the furthest.
func heardAgain(in []Decision, clips, sounds []Party) repeat {
	var out repeat
	for i := range in {
		a := &in[i].Link
		with := []*Link{a}
		for k := range in {
			b := &in[k].Link
			if i == k || b.Strength < a.Strength/2 || b.Strength > 2*a.Strength {
				continue
			}
			switch breaks(a, b, clips, sounds) {
			case clipsOverlap:
				out.note([]*Link{a, b}, 1)
			case soundsOverlap:
				with = append(with, b)
			}
		}
		out.note(with, mostRecorders)
	}
	return out
}

// note takes in links of which so many may be right and no more.
func (r *repeat) note(links []*Link, right int) {
	if len(links) <= right {
		return
	}
	slices.SortFunc(links, func(a, b *Link) int { return cmp.Compare(b.Lead, a.Lead) })
	r.again = true
	if wrong := links[right]; !wrong.talks() && wrong.Lead > r.lead {
		r.lead = wrong.Lead
	}
}

// talks tells whether a link is of talk as clear as can be. Where one that
// others show to be wrong seems so, it is not: several cameras or recorders look
// like one there. No link of different moments was in the trial that
// docs/accuracy.md describes: those that lead so far hold tones, of 0.26 and
// more, and those of less lead by 1.1 at the most.
func (l *Link) talks() bool { return l.Lead >= 1.5 && l.Steady < 0.15 }

// leads is how many times as far as elsewhere the loudest must lead in this
// shoot, so that a link that leads as far as one known to be wrong there is as
// likely to be right as one of recordMiddle elsewhere.
func (r *repeat) leads() float64 { return math.Max(1, r.lead/recordMiddle) }

// doubt makes decisions unsure whose loudest leads hardly more than that of
// links that are wrong for certain.
func (r *repeat) doubt(ds []Decision) {
	for i := range ds {
		d := &ds[i]
		if d.Link.Lead >= sureLead && d.Link.Lead < sureLead*r.leads() {
			d.Verdict = min(d.Verdict, Unsure)
			d.say("the loudest in it holds best, as talk does, but hardly more so than where this shoot holds the same music at two moments")
		}
	}
}
