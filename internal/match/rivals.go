package match

import (
	"fmt"
	"math"
	"sort"
)

// A Rival is another place that was considered for a clip or a sound, with
// what speaks for it and against it in words.
type Rival struct {
	Link         Link
	For, Against []string
}

// samePlace is how near two places in one sound are one, seconds.
const samePlace = 0.1

// Offset is where in the sound the clip's zero is heard, seconds.
func (l *Link) Offset() float64 { return l.Start - (1+l.Drift)*l.From }

// Rivals lists the places other than that of decision at of out which its clip
// or its sound might have, the likeliest first, at most so many. places are all
// that were measured.
func Rivals(out []Decision, at int, places []Link, clips, sounds []Party, most int) []Rival {
	others := append(append([]Decision{}, out[:at]...), out[at+1:]...)
	order := rivalsOf(&out[at].Link, places)
	var best []weighed
	for _, w := range order {
		if len(best) == most && w.worth+mostGained < best[most-1].worth {
			break // nothing beside its sound could bring this one, or those after it, among the best
		}
		w.worth = w.argue(out, at, others, clips, sounds)
		best = append(best, w)
		sort.Slice(best, func(a, b int) bool { return best[a].before(&best[b]) })
		best = best[:min(most, len(best))]
	}
	ranked := make([]Rival, len(best))
	for i, w := range best {
		ranked[i] = w.Rival
	}
	return ranked
}

// A weighed rival has what it is worth and its turn among the places.
type weighed struct {
	Rival
	worth float64
	turn  int
}

func (w *weighed) before(v *weighed) bool {
	return w.worth > v.worth || w.worth == v.worth && w.turn < v.turn
}

// rivalsOf are the places that a link's clip or its sound might have, in order
// of what their own sound is worth.
func rivalsOf(own *Link, places []Link) (rivals []weighed) {
	for i, l := range places {
		if l.Clip != own.Clip && l.Sound != own.Sound {
			continue
		}
		if l.Clip == own.Clip && l.Sound == own.Sound && math.Abs(l.Offset()-own.Offset()) < samePlace {
			continue
		}
		unheard := Rival{Link: l}
		rivals = append(rivals, weighed{Rival{Link: l}, unheard.sound(), i})
	}
	sort.Slice(rivals, func(a, b int) bool { return rivals[a].before(&rivals[b]) })
	return rivals
}

// mostGained is the most that a rival gains by what is not its own sound.
const mostGained = 5

// argue says what speaks for a rival of decision at and what against, and
// returns what it is worth, in standard deviations of its match. others are all
// of out but that decision.
func (r *Rival) argue(out []Decision, at int, others []Decision, clips, sounds []Party) float64 {
	worth := r.sound()
	l := r.Link
	if named := ordered(l, out, at, clips, sounds); named && agrees(l, out, at, clips, sounds) {
		r.pro("its place in the order of file names agrees with the other takes")
	} else if named {
		r.con("its place in the order of file names does not agree with the other takes")
		worth -= 3
	}
	if gap := calendarGap(l, others, clips, sounds); gap < calendarSlack {
		r.pro("the files' times agree with the other takes within %.0f s", math.Max(1, gap))
		worth += mostGained
	} else if !math.IsInf(gap, 1) && !math.IsNaN(gap) {
		r.con("the files' times are %.0f s off what the other takes show", gap)
		worth -= 3
	}
	for i := range others {
		rule := breaks(&l, &others[i].Link, clips, sounds)
		if rule == "" {
			continue
		}
		r.con("%s, beside a take that is %s", rule, others[i].Verdict)
		if others[i].Verdict == Sure {
			worth -= 10
		}
		break
	}
	return worth
}

// sound says what its own sound speaks for and against.
func (r *Rival) sound() (worth float64) {
	l := &r.Link
	worth = l.margin()
	if l.holds() {
		r.pro("the match stands %.1f times above the noise", l.Strength)
	} else {
		r.con("the match stands %.1f times above the noise and %.1f without its best moment; unrelated recordings give as much", l.Strength, l.Rest)
	}
	if l.Claps > 0 {
		r.pro("%s in both at the same moment", plural(l.Claps, "clap"))
		worth += 2
	}
	if l.Lead < sureLead {
		r.con("it holds no better where the sound is loudest than elsewhere")
		worth -= 3
	}
	if l.Steady > mostSteady {
		r.con("what is loudest is held tones, as of music")
		worth -= 3
	}
	if l.Beyond < sureBeyond && l.holds() {
		r.con("it holds in a few sharp sounds only")
		worth -= 3
	}
	return worth
}

func (r *Rival) pro(format string, args ...any) { r.For = append(r.For, fmt.Sprintf(format, args...)) }
func (r *Rival) con(format string, args ...any) {
	r.Against = append(r.Against, fmt.Sprintf(format, args...))
}

// ordered tells whether there are takes between the same two devices, other
// than decision but, that a place in their order can be held against.
func ordered(l Link, out []Decision, but int, clips, sounds []Party) bool {
	for i, d := range out {
		if i != but && d.Verdict == Sure && clips[d.Link.Clip].Device == clips[l.Clip].Device && sounds[d.Link.Sound].Device == sounds[l.Sound].Device {
			return true
		}
	}
	return false
}

// String is the verdict in lower case.
func (v Verdict) String() string { return [...]string{"refused", "unsure", "sure"}[v] }
