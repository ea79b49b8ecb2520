package match

import (
	"math/rand/v2"
	"reflect"
	"sort"
	"testing"
)

// The best rivals are those that weighing every place would give, in that order.
func TestRivalsAreTheBest(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 0))
	for round := range 200 {
		const clips, sounds = 6, 4
		parties := func(n int) []Party {
			out := make([]Party, n)
			for i := range out {
				out[i] = Party{Device: string(rune('a' + r.IntN(2))), Order: i, Made: float64(r.IntN(3)) * 1000}
			}
			return out
		}
		c, s := parties(clips), parties(sounds)
		var places []Link
		var out []Decision
		for range 25 {
			l := Link{Clip: r.IntN(clips), Sound: r.IntN(sounds), Strength: 6 + 20*r.Float64(), Rest: 4 + 15*r.Float64(), From: 0, To: 20,
				Start: 1000 * r.Float64(), Claps: r.IntN(3), Lead: r.Float64(), Beyond: r.Float64(), Steady: r.Float64()}
			places = append(places, l)
			if r.IntN(3) == 0 {
				out = append(out, Decision{Link: l, Verdict: Verdict(1 + r.IntN(2))})
			}
		}
		if len(out) == 0 {
			continue
		}
		at, most := r.IntN(len(out)), 1+r.IntN(5)
		got := Rivals(out, at, places, c, s, most)
		if want := allRivals(out, at, places, c, s, most); !reflect.DeepEqual(got, want) {
			t.Fatalf("round %d: %+v, want %+v", round, got, want)
		}
	}
}

// allRivals weighs every place.
func allRivals(out []Decision, at int, places []Link, clips, sounds []Party, most int) []Rival {
	others := append(append([]Decision{}, out[:at]...), out[at+1:]...)
	all := rivalsOf(&out[at].Link, places)
	for i := range all {
		all[i].worth = all[i].argue(out, at, others, clips, sounds)
	}
	sort.Slice(all, func(a, b int) bool { return all[a].before(&all[b]) })
	ranked := []Rival{}
	for _, w := range all[:min(most, len(all))] {
		ranked = append(ranked, w.Rival)
	}
	return ranked
}
