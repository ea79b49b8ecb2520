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
	own := &out[at].Link
	var rivals []Rival
	worth := map[int]float64{}
	others := append(append([]Decision{}, out[:at]...), out[at+1:]...)
	for _, l := range places {
		if l.Clip != own.Clip && l.Sound != own.Sound {
			continue
		}
		if l.Clip == own.Clip && l.Sound == own.Sound && math.Abs(l.Offset()-own.Offset()) < samePlace {
			continue
		}
		r := Rival{Link: l}
		worth[len(rivals)] = r.argue(out, at, others, clips, sounds)
		rivals = append(rivals, r)
	}
	order := make([]int, len(rivals))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return worth[order[a]] > worth[order[b]] })
	ranked := make([]Rival, 0, min(most, len(order)))
	for _, i := range order[:min(most, len(order))] {
		ranked = append(ranked, rivals[i])
	}
	return ranked
}

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
		worth += 5
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
