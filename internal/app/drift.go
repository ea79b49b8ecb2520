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
	web   *web
	pages map[[2]string][]driftEntry
}

type driftEntry struct {
	clip, sound  int
	drift, sigma float64 // seconds per second
}

// What a take must show before others are told its drift.
const (
	fairDrift   = 8e-6   // sigma
	fairLength  = 15.0   // seconds: a talker who leans over shows as much drift in less
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

// settle joins a take's own drift with that of the other takes, or, where
// there are none, with what clocks usually do, and tells which of them said more.
func (b *driftBook) settle(clip, sound int, f *align.Found) (align.Found, shoot.DriftFrom, []string) {
	own := *f
	if own.DriftSigma > align.Ordinary/2 {
		own.DriftSigma = math.Inf(1) // it is within what was looked through, no more
	}
	drift, sigma, takes := b.shoot(clip, sound)
	told := plural(takes, "other take") + " of the same devices say"
	if takes == 0 && own.DriftSigma > fairDrift {
		if d, s, ok := b.web.drift(clip, sound); ok && s <= fairDrift {
			drift, sigma, told = d, s, "the clocks of all recordings together say"
		}
	}
	got := own.WithDrift(drift, sigma)
	switch {
	case own.DriftSigma < min(sigma, align.Ordinary):
		return got, shoot.FromTake, nil
	case !math.IsInf(sigma, 1):
		return got, shoot.FromShoot, []string{fmt.Sprintf("too short to know its drift; %s %+.1f ppm", told, drift*1e6)}
	}
	return got, shoot.FromNone, []string{"too short to know its drift, and no other take tells it: taken as none"}
}

func plural(n int, noun string) string {
	if n == 1 {
		return "one " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
