package app

import (
	"fmt"
	"math"
	"sort"

	"earshot/internal/align"
	"earshot/internal/match"
	"earshot/internal/shoot"
)

// A driftBook knows the drift between every two devices from the takes that
// can tell it.
type driftBook struct {
	m     *measurer
	pages map[[2]string][]driftEntry
}

type driftEntry struct {
	clip, sound  int
	drift, sigma float64 // seconds per second
}

// What a take must show before its own drift is believed.
const (
	fineDrift   = 1.5e-6 // sigma: as good as anything the other takes can say
	fairDrift   = 8e-6   // sigma: better than nothing, for a take that stands alone
	fairLength  = 15.0   // seconds
	clockWander = 0.5e-6 // what two clocks change against each other over a day
	sameClocks  = 5e-6   // takes that differ by more are not of the same two devices
)

func newDriftBook(decisions []match.Decision, m *measurer) *driftBook {
	b := &driftBook{m: m, pages: map[[2]string][]driftEntry{}}
	for _, d := range decisions {
		f := m.links[d.Link.Clip][d.Link.Sound].Found
		if d.Verdict == match.Sure && f.DriftSigma <= fairDrift && f.To-f.From >= fairLength {
			key := b.key(d.Link.Clip, d.Link.Sound)
			b.pages[key] = append(b.pages[key], driftEntry{d.Link.Clip, d.Link.Sound, f.Drift, math.Max(f.DriftSigma, 0.1e-6)})
		}
	}
	return b
}

func (b *driftBook) key(clip, sound int) [2]string {
	return [2]string{b.m.clips[clip].device, b.m.sounds[sound].device}
}

// shoot is the drift that the other takes of the same two devices show: the
// weighted mean of those near their median.
func (b *driftBook) shoot(clip, sound int) (drift, sigma float64, takes int) {
	var others []driftEntry
	for _, e := range b.pages[b.key(clip, sound)] {
		if e.clip != clip || e.sound != sound {
			others = append(others, e)
		}
	}
	if len(others) == 0 {
		return 0, math.Inf(1), 0
	}
	mid := weightedMedian(others)
	var sum, weight float64
	for _, e := range others {
		if math.Abs(e.drift-mid) > sameClocks+3*e.sigma {
			continue
		}
		w := 1 / (e.sigma*e.sigma + clockWander*clockWander)
		sum, weight, takes = sum+w*e.drift, weight+w, takes+1
	}
	if takes*2 <= len(others) { // no two agree: names and formats lied about the devices
		return 0, math.Inf(1), 0
	}
	return sum / weight, math.Sqrt(1/weight + clockWander*clockWander), takes
}

func weightedMedian(entries []driftEntry) float64 {
	sort.Slice(entries, func(i, j int) bool { return entries[i].drift < entries[j].drift })
	var total, sum float64
	for _, e := range entries {
		total += 1 / (e.sigma * e.sigma)
	}
	for _, e := range entries {
		if sum += 1 / (e.sigma * e.sigma); sum >= total/2 {
			return e.drift
		}
	}
	return entries[len(entries)-1].drift
}

// settle decides whose drift a take gets: its own where it can tell, else that
// of the shoot, else none.
func (b *driftBook) settle(clip, sound int, f *align.Found) (align.Found, shoot.DriftFrom, []string) {
	long := f.To-f.From >= fairLength
	if long && f.DriftSigma <= fineDrift {
		return *f, shoot.FromTake, nil
	}
	drift, sigma, takes := b.shoot(clip, sound)
	if takes > 0 && (!long || sigma < f.DriftSigma) {
		why := fmt.Sprintf("too short to know its drift; %s of the same devices say %+.1f ppm", plural(takes, "other take"), drift*1e6)
		return f.WithDrift(drift, sigma), shoot.FromShoot, []string{why}
	}
	if long && f.DriftSigma <= fairDrift {
		return *f, shoot.FromTake, nil
	}
	return f.WithDrift(0, math.Inf(1)), shoot.FromNone, []string{"too short to know its drift, and no other take tells it: taken as none"}
}

func plural(n int, noun string) string {
	if n == 1 {
		return "one " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
