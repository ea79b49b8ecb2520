package app

import (
	"context"

	"earshot/internal/shoot"
)

// News is what a run found just now; one of its members is set. It may come
// from several goroutines, never two at once.
type News struct {
	Files  []File // all that will be read, told once
	Read   *Recording
	Failed *shoot.Failed
	Passed string // a file that Earshot wrote, which is no recording of the shoot
	Met    *Sighting
}

// A File is a recording before it is read.
type File struct {
	Path, Key string
}

// A Sighting is a clip found in a sound, before the whole shoot is weighed: no
// verdict yet.
type Sighting struct {
	Clip, Sound string // paths
	Line        shoot.Line
	Strength    float64 // times above the noise
}

// worthTelling is the strength of a match from which it is told before all is
// weighed, as a take needs it to be sure.
const worthTelling = 14.0

func readNews(path string, rec *recording, err error) News {
	switch {
	case err != nil:
		return News{Failed: &shoot.Failed{Path: path, Error: describe(err)}}
	case isMarried(rec.info):
		return News{Passed: path}
	}
	return News{Read: &Recording{rec}}
}

// sighting is what is known of a clip in a sound.
func (m *measurer) sighting(i, k int) News {
	l := m.links[i][k]
	line := firstLine(l.Found)
	return News{Met: &Sighting{Clip: m.clips[i].path, Sound: m.sounds[k].path, Strength: l.Found.Strength,
		Line: shoot.Line{Offset: line.Offset, Drift: line.Drift * 1e6}}}
}

// tellKnown passes on what an earlier run measured.
func (m *measurer) tellKnown(ctx context.Context) {
	for i := range m.links {
		for k, l := range m.links[i] {
			if ctx.Err() == nil && l != nil && l.Found.Strength >= worthTelling {
				m.tell.found(m.sighting(i, k))
			}
		}
	}
}
