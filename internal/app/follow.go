package app

import (
	"cmp"
	"context"
	"math"
	"slices"

	"earshot/internal/dsp"
	"earshot/internal/match"
)

// follow looks where a clip must lie in a second recorder's sound, if it lies
// there at all: where another clip that lies in both sounds says. A glance may
// have missed it, faint as it can be there.
func (m *measurer) follow(ctx context.Context) error {
	var jobs []job
	for k := range m.sounds {
		for other := range m.sounds {
			if k != other {
				jobs = append(jobs, m.followed(k, other)...)
			}
		}
	}
	if err := m.lineUp(ctx, jobs); err != nil {
		return err
	}
	touched := map[int]bool{}
	for _, j := range jobs {
		touched[j.sound] = true
	}
	return m.keepAll(touched)
}

// leastFollowed is how much of a clip must lie in the other sound, seconds.
const leastFollowed = 2.0

// followed lists where the clips of sound k that are not known to lie in the
// other sound would lie there.
func (m *measurer) followed(k, other int) (jobs []job) {
	var both []int
	for i := range m.clips {
		if m.links[i][k].settles() && m.links[i][other].settles() {
			both = append(both, i)
		}
	}
	if len(both) == 0 {
		return nil
	}
	for i := range m.clips {
		l := m.links[i][k]
		if !l.settles() || m.links[i][other] != nil || m.held[i][other] > glanced {
			continue
		}
		mid := l.Found.Alignment.Sound(l.Found.Mid)
		near := slices.MinFunc(both, func(x, y int) int {
			return cmp.Compare(m.gap(x, k, mid), m.gap(y, k, mid))
		})
		a, b := m.links[near][k].Found, m.links[near][other]
		there := func(t float64) float64 { return b.Found.Alignment.Sound(a.Clip(l.Found.Alignment.Sound(t))) }
		back := func(s float64) float64 { return l.Found.Clip(a.Alignment.Sound(b.Found.Clip(s))) }
		length := float64(m.sounds[other].tracks[b.SoundTrack].Samples) / dsp.ProxyRate
		from, to := math.Max(l.Found.From, back(0)), math.Min(l.Found.To, back(length))
		if to-from < leastFollowed {
			continue
		}
		at := (from + to) / 2
		jobs = append(jobs, job{i, other, l.ClipTrack, b.SoundTrack, match.Candidate{At: at, Sound: there(at)}})
	}
	return jobs
}

// gap is how far from second mid of sound k clip i lies in it.
func (m *measurer) gap(i, k int, mid float64) float64 {
	f := m.links[i][k].Found
	return math.Abs(f.Alignment.Sound(f.Mid) - mid)
}
