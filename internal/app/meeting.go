package app

import (
	"earshot/internal/align"
	"earshot/internal/match"
	"earshot/internal/shoot"
)

// A Meeting is a clip that was held against a sound and matched at least a
// little, whatever came of it. It is for those who measure the verdict and
// stands in no document.
type Meeting struct {
	Clip, Sound    string
	Offset, Drift  float64       // seconds; ppm
	Strength, Rest float64       // as align.Found has them
	Voice          *align.Voice  // nil where it was not looked at
	Verdict        shoot.Verdict // Single where it is no take
	ByItself       shoot.Verdict // what it would be if there were no other recordings
	Chance         float64       // of error, of a take
	Why            []string
}

// meetings lists what was measured, with what became of it.
func (d *Day) meetings(m *measurer, links []match.Link, decisions []match.Decision) []Meeting {
	decided := map[[2]int]*match.Decision{}
	for i := range decisions {
		l := &decisions[i].Link
		decided[[2]int{l.Clip, l.Sound}] = &decisions[i]
	}
	var out []Meeting
	for _, link := range links {
		l := m.links[link.Clip][link.Sound]
		f := l.Found
		alone := match.Judge(link)
		one := Meeting{Clip: d.clips[link.Clip].path, Sound: d.sounds[link.Sound].path, Offset: f.Offset, Drift: f.Drift * 1e6,
			Strength: f.Strength, Rest: f.Rest, Voice: l.Voice, Verdict: shoot.Single, ByItself: verdictOf(alone.Verdict), Why: alone.Why}
		if dec := decided[[2]int{link.Clip, link.Sound}]; dec != nil {
			one.Verdict, one.Why, one.Chance = verdictOf(dec.Verdict), dec.Why, dec.Chance
		}
		out = append(out, one)
	}
	return out
}

// verdictOf is a decision's verdict in the document's words.
func verdictOf(v match.Verdict) shoot.Verdict {
	switch v {
	case match.Sure:
		return shoot.Sure
	case match.Unsure:
		return shoot.Unsure
	}
	return shoot.Single
}
