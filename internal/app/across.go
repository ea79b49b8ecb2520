package app

import (
	"context"
	"math"
	"slices"

	"earshot/internal/align"
	"earshot/internal/match"
)

// roughly is links as if each were exact: what belongs together is told from
// that, and only then which microphone is the nearer.
func roughly(links []match.Link) []match.Link {
	out := slices.Clone(links)
	for i := range out {
		out[i].Sigma = 0
	}
	return out
}

// hearAcross measures anew the sure pairs of a clip with the microphone of
// somebody who says nothing in it, where another sure sound is the talker's own.
// Such a microphone hears the talker across the room, reflections and all, so
// that its first arrival need not be the direct sound: see align.Far.
func (d *Day) hearAcross(ctx context.Context, m *measurer, decisions []match.Decision) error {
	byClip := map[int][]int{}
	for n, dec := range decisions {
		if dec.Verdict == match.Sure {
			byClip[dec.Link.Clip] = append(byClip[dec.Link.Clip], n)
		}
	}
	changed := map[int]bool{}
	var across [][2]int
	for i := range m.clips {
		for _, n := range byClip[i] {
			k := decisions[n].Link.Sound
			quiet, err := d.saysNothing(ctx, m, decisions, byClip[i], n)
			if err != nil {
				return err
			}
			if !quiet {
				continue
			}
			l := m.links[i][k]
			if l.Across == nil {
				if l.Across, err = m.findAcross(ctx, i, k, l); err != nil {
					return err
				}
				changed[k] = true
			}
			across = append(across, [2]int{i, k})
		}
	}
	if err := m.keepAll(changed); err != nil {
		return err
	}
	for _, at := range across { // the cache keeps both
		l := *m.links[at[0]][at[1]]
		l.Found = l.Across
		m.links[at[0]][at[1]] = &l
	}
	return nil
}

// saysNothing tells whether the wearer of decision n's sound is silent all
// through its clip while another's talks.
func (d *Day) saysNothing(ctx context.Context, m *measurer, decisions []match.Decision, rivals []int, n int) (bool, error) {
	take := func(n int) *dayTake {
		i, k := decisions[n].Link.Clip, decisions[n].Link.Sound
		l := m.links[i][k]
		return &dayTake{clip: m.clips[i], sound: m.sounds[k], link: l, found: *l.Found}
	}
	for _, other := range rivals {
		if other == n {
			continue
		}
		v, err := d.voices(ctx, take(other), take(n))
		if err != nil {
			return false, err
		}
		if !math.IsInf(v.A, -1) && math.IsInf(v.B, -1) {
			return true, nil
		}
	}
	return false, nil
}

// findAcross measures a link anew as heard across the room; it is the same link
// where nothing is found so.
func (m *measurer) findAcross(ctx context.Context, i, k int, l *link) (*align.Found, error) {
	guess := align.Guess{At: l.Found.Mid, Sound: l.Found.At(l.Found.Mid), Drift: l.Found.Drift}
	found, err := m.find(ctx, i, k, l.ClipTrack, l.SoundTrack, guess, true)
	if err != nil || found == nil || !sane(found) || found.Strength < sameMatch*l.Found.Strength {
		return l.Found, err
	}
	return found, nil
}

// sameMatch is the share of a match's height that it must have when it is
// measured in another way.
const sameMatch = 0.7
