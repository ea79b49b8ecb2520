package clocks

import (
	"math"
	"sort"
)

// A Loop is three recordings, each linked to each, that heard one moment
// together: going round by the three links should lead back to it.
type Loop struct {
	Links [3]int  // indices; the first is between the first two recordings
	Recs  [3]int  // indices
	At    float64 // seconds of the first recording: the moment
	Left  float64 // seconds by which going round misses it; positive = too late
	Sigma float64 // its deviation by the three links' own
}

// Loops returns all loops of three, in the order of recordings. They are tried
// in the middle of what all three links are about: how clocks wander from one
// part of a day to another does not touch them.
//
// For one talker they close: each link is about the same direct sound, and the
// flights to the three microphones cancel. Where two talk, a link between
// recordings that hear both is about one of them or the other, and loops are
// open by as much as the paths differ.
func Loops(recs int, links []Link) []Loop {
	near := make([]map[int]int, recs) // recording -> recording -> link
	for i := range near {
		near[i] = map[int]int{}
	}
	for k := range links {
		if l := &links[k]; l.sound(recs) {
			near[l.A][l.B], near[l.B][l.A] = k, k
		}
	}
	var out []Loop
	for a := range recs {
		for _, b := range after(near[a], a) {
			for _, c := range after(near[b], b) {
				if k, ok := near[a][c]; ok {
					if l, ok := loop([3]int{a, b, c}, [3]int{near[a][b], near[b][c], k}, links); ok {
						out = append(out, l)
					}
				}
			}
		}
	}
	return out
}

// after lists the recordings behind i that are linked to it, in order.
func after(near map[int]int, i int) (out []int) {
	for r := range near {
		if r > i {
			out = append(out, r)
		}
	}
	sort.Ints(out)
	return out
}

// loop goes round three recordings; false when no moment is heard by all.
func loop(recs, via [3]int, links []Link) (Loop, bool) {
	ab := links[via[0]].from(recs[0])
	bc := links[via[1]].from(recs[1])
	ac := links[via[2]].from(recs[0])
	from := math.Max(math.Max(ab.From, ac.From), ab.Clip(bc.From))
	to := math.Min(math.Min(ab.To, ac.To), ab.Clip(bc.To))
	if to <= from {
		return Loop{}, false
	}
	at := (from + to) / 2
	b := ab.Sound(at)
	ca := ac.Turned()
	sigma := math.Hypot(math.Hypot(ab.sigmaAt(at), bc.sigmaAt(b)), ac.sigmaAt(at))
	return Loop{Links: via, Recs: recs, At: at, Left: ca.Sound(bc.Sound(b)) - at, Sigma: sigma}, true
}

// from is l as seen from recording r, one of its two.
func (l *Link) from(r int) Link {
	if l.A == r {
		return *l
	}
	return l.Turned()
}
