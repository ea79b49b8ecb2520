package app

import (
	"context"
	"fmt"
	"math"
	"sort"

	"earshot/internal/align"
	"earshot/internal/clocks"
	"earshot/internal/match"
)

// What is asked of a clip at the place where other recordings say it lies.
const (
	leastShared = 1.0   // seconds that clip and sound must have in common there
	knownWell   = 0.030 // seconds: deviation up to which a place is known well enough to look at
	twoPaths    = 0.020 // seconds by which the paths of two talkers may differ, 7 m: nearer counts as the same place

	besides = 0.004 // seconds by which they may differ for a faint match to count, 1.4 m

	// Heights of the match and of what is left without its best moment. Of 1500
	// wrong places looked at so, chance gave two over 7 and none over 7.3.
	heardThere, heardRest = 7.5, 4.5
	heardWell             = 14.0
)

// place looks for every clip in every sound in which the others say it lies
// and in which it was not found for sure.
func (w *web) place(ctx context.Context) error {
	sure, at := map[[2]int]bool{}, map[[2]int]int{}
	for i, d := range w.decisions {
		key := [2]int{d.Link.Clip, d.Link.Sound}
		at[key] = i
		sure[key] = d.Verdict == match.Sure
	}
	for i := range w.day.clips {
		for k := range w.day.sounds {
			if sure[[2]int{i, k}] || w.calledOut(i, k) || w.day.refused(i, k) {
				continue
			}
			p, ok := w.clock.Between(i, len(w.day.clips)+k)
			if !ok {
				continue
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := w.try(ctx, i, k, p, at); err != nil {
				return err
			}
		}
	}
	w.drop()
	return nil
}

// try looks for clip i in sound k at the place p that the others say.
func (w *web) try(ctx context.Context, i, k int, p clocks.Place, at map[[2]int]int) error {
	key := [2]int{i, k}
	from, to := p.Covered(lengthOf(w.day.clips[i]), lengthOf(w.day.sounds[k]))
	mid := (from + to) / 2
	over := w.path(i, len(w.day.clips)+k)
	if to-from < leastShared || len(over) == 0 || p.SigmaAt(mid) > knownWell {
		return nil
	}
	l := w.m.links[i][k]
	if l == nil || !agree(l.Found, p, mid) {
		var err error
		if l, err = w.listen(ctx, i, k, p, mid); err != nil {
			return err
		}
	}
	d := match.Decision{Verdict: match.Unsure}
	d.Why = []string{"placed through " + named(over) + ", heard together with it"}
	switch {
	case l != nil && bearsOut(l.Found, p, mid) && !w.turned(i, k, l.Found):
		d.Verdict = match.Sure
		d.Why = append(d.Why, fmt.Sprintf("heard at that very place too, %.1f times above the noise and %s from it: two ways agree", l.Found.Strength, millis(missing(l.Found, p, mid))))
	case w.twoWays(i, k):
		l, d.Verdict = w.lay(i, k, p, from, to), match.Sure
		d.Why = append(d.Why, "too little of it is heard in this sound to tell, but two ways round agree")
	case w.hasSure(i):
		return nil // it has a sound; one that hardly heard it is none
	default:
		l = w.lay(i, k, p, from, to)
		d.Why = append(d.Why, "too little of it is heard in this sound itself to confirm that")
	}
	w.m.links[i][k], w.through[key] = l, over
	d.Link = toLink(i, k, w.day.clips[i], w.day.sounds[k], l)
	if n, ok := at[key]; ok {
		w.decisions[n] = d
	} else {
		w.decisions = append(w.decisions, d) // drop puts them in order
	}
	return nil
}

// millis is a time in words of milliseconds.
func millis(seconds float64) string {
	return fmt.Sprintf("%.2g ms", math.Max(0.01, math.Abs(seconds)*1e3))
}

// missing is by how much a measurement misses a place at clip time t, seconds.
func missing(f *align.Found, p clocks.Place, t float64) float64 { return f.Sound(t) - p.Sound(t) }

// agree tells whether a measurement lies where the others say.
func agree(f *align.Found, p clocks.Place, t float64) bool {
	return math.Abs(missing(f, p, t)) <= math.Max(twoPaths, 4*p.SigmaAt(t))
}

// bearsOut tells whether a measurement confirms the place where the others say a
// clip lies. A match hardly above the noise does only very near it: farther off
// it may be a reflection.
func bearsOut(f *align.Found, p clocks.Place, t float64) bool {
	if f.Strength < heardThere || f.Rest < heardRest {
		return false
	}
	return f.Strength >= heardWell || math.Abs(missing(f, p, t)) <= math.Max(besides, 4*p.SigmaAt(t))
}

// turned tells whether a faint match of clip i with sound k has another polarity
// than all takes of the same two devices that were sure by themselves. Microphones
// keep theirs: such a match is of a reflection, or chance.
func (w *web) turned(i, k int, f *align.Found) bool {
	if f.Strength >= heardWell {
		return false
	}
	alike, other := 0, 0
	for _, d := range w.decisions {
		c, s := d.Link.Clip, d.Link.Sound
		switch {
		case d.Verdict != match.Sure || w.through[[2]int{c, s}] != nil:
		case w.day.clips[c].device != w.day.clips[i].device || w.day.sounds[s].device != w.day.sounds[k].device:
		case w.m.links[c][s].Found.Inverted == f.Inverted:
			alike++
		default:
			other++
		}
	}
	return other > 0 && alike == 0
}

// listen looks for a clip in a sound around a place, in all their tracks; nil
// when nothing is heard there.
func (w *web) listen(ctx context.Context, i, k int, p clocks.Place, mid float64) (*link, error) {
	var best *link
	clip, sound := w.day.clips[i], w.day.sounds[k]
	for ct, c := range clip.tracks {
		for st, s := range sound.tracks {
			if c.Silent || s.Silent {
				continue
			}
			found, err := w.m.find(ctx, i, k, ct, st, align.Guess{At: mid, Sound: p.Sound(mid), Drift: p.Drift}, false)
			if err != nil {
				return nil, err
			}
			if found != nil && sane(found) && agree(found, p, mid) && (best == nil || found.Strength > best.Found.Strength) {
				best = &link{ClipTrack: ct, SoundTrack: st, Found: found}
			}
		}
	}
	return best, nil
}

// lay is a link made of what the others say alone.
func (w *web) lay(i, k int, p clocks.Place, from, to float64) *link {
	mid := (from + to) / 2
	f := &align.Found{Alignment: p.Alignment, Mid: mid, MidSigma: math.Hypot(p.SigmaAt(mid), clocks.Paths),
		DriftSigma: p.DriftSigma(), From: from, To: to, Halves: math.NaN()}
	l := &link{Found: f}
	l.ClipTrack, l.SoundTrack = loudestTrack(w.day.clips[i]), loudestTrack(w.day.sounds[k])
	return l
}

// loudestTrack is the first track of a recording that is not silent.
func loudestTrack(r *recording) int {
	for i, t := range r.tracks {
		if !t.Silent {
			return i
		}
	}
	return 0
}

// hasSure tells whether a clip has a sure sound.
func (w *web) hasSure(clip int) bool {
	for _, d := range w.decisions {
		if d.Link.Clip == clip && d.Verdict == match.Sure {
			return true
		}
	}
	return false
}

// twoWays tells whether two recordings, each heard together with clip i and
// with sound k, tie the one to the other.
func (w *web) twoWays(i, k int) bool {
	ways := 0
	sound := w.beside(len(w.day.clips) + k)
	for r := range w.beside(i) {
		if sound[r] {
			ways++
		}
	}
	return ways >= 2
}

// beside is the recordings that were heard together with one, beyond doubt.
func (w *web) beside(rec int) map[int]bool {
	out := map[int]bool{}
	for n, l := range w.links {
		if !w.trusted(n) {
			continue
		}
		switch rec {
		case l.A:
			out[l.B] = true
		case l.B:
			out[l.A] = true
		}
	}
	return out
}

// drop takes away what is unsure of a clip that others placed surely, and lies
// elsewhere.
func (w *web) drop() {
	var kept []match.Decision
	for _, d := range w.decisions {
		i, k := d.Link.Clip, d.Link.Sound
		if d.Verdict == match.Sure || w.through[[2]int{i, k}] != nil || !w.placedSurely(i) {
			kept = append(kept, d)
			continue
		}
		p, ok := w.clock.Between(i, len(w.day.clips)+k)
		if !ok || agree(w.m.links[i][k].Found, p, d.Link.From) || w.calledOut(i, k) {
			kept = append(kept, d)
		}
	}
	w.decisions = kept
	sortByClip(w.decisions)
}

// placedSurely tells whether a clip was placed through others for sure.
func (w *web) placedSurely(clip int) bool {
	for _, d := range w.decisions {
		if d.Link.Clip == clip && d.Verdict == match.Sure && w.through[[2]int{clip, d.Link.Sound}] != nil {
			return true
		}
	}
	return false
}

// calledOut tells whether a pair was sure until a loop broke: it stays in
// sight.
func (w *web) calledOut(i, k int) bool {
	for n, l := range w.links { // the pillars were sure
		if l.A == i && l.B == len(w.day.clips)+k && w.decisions[w.owner[n]].Verdict != match.Sure {
			return true
		}
	}
	return false
}

// sortByClip puts decisions in the order of clips, the strongest sound first.
func sortByClip(ds []match.Decision) {
	sort.SliceStable(ds, func(a, b int) bool {
		x, y := ds[a].Link, ds[b].Link
		if x.Clip != y.Clip {
			return x.Clip < y.Clip
		}
		return x.Strength > y.Strength
	})
}
