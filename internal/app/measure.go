package app

import (
	"bytes"
	"context"
	"encoding/gob"
	"maps"
	"math"
	"slices"
	"sync"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/store"
)

// A link is what was measured between one clip and one sound.
type link struct {
	ClipTrack, SoundTrack int
	Score                 float64 // of the sketch
	Found                 *align.Found
	Across                *align.Found // the same as heard across the room: see hearAcross; nil where that was not asked
	Others                []link       // places in the same sound that came second, without their windows
	Voice                 *align.Voice // nil where nothing rises out of what strangers give
}

// A meeting is how a clip was held against a sound, and what came of it.
type meeting struct {
	Reach reach
	Link  *link // nil where there is none
}

// A reach is how thoroughly a clip was held against a sound.
type reach uint8

const (
	notYet   reach = iota
	glanced        // only the clear places looked at: others may still be there
	combed         // at half the grain, the faintest places left out
	searched       // at the whole grain, every place looked at
)

// meetings is what the cache keeps with a sound: how it met every clip it was
// ever held against.
type meetings map[store.Identity]meeting

// linksName carries the version of the method: a change of method measures
// anew.
const linksName = "links-52.gob"

// A measurer holds clips against sounds.
type measurer struct {
	app    *App
	fresh  bool
	tell   *teller
	clips  []*recording
	sounds []*recording
	links  [][]*link // [clip][sound]
	held   [][]reach // [clip][sound]
	far    bool      // clips against clips, or sounds against sounds: see align.Far
}

// run measures every clip against every sound, as far as the cache does not
// know.
func (m *measurer) run(ctx context.Context) error {
	m.links, m.held = make([][]*link, len(m.clips)), make([][]reach, len(m.clips))
	for i := range m.links {
		m.links[i], m.held[i] = make([]*link, len(m.sounds)), make([]reach, len(m.sounds))
	}
	if !m.fresh {
		m.recall()
		m.tellKnown(ctx)
	}
	return m.meet(ctx)
}

// recall takes from the cache what is known.
func (m *measurer) recall() {
	for k, s := range m.sounds {
		known := m.load(s)
		for i, c := range m.clips {
			met := known[c.id]
			m.links[i][k], m.held[i][k] = met.Link, met.Reach
		}
	}
}

// keepAll puts into the cache what is known of sounds; a run that is stopped
// meanwhile still does.
func (m *measurer) keepAll(sounds map[int]bool) error {
	all := slices.Sorted(maps.Keys(sounds))
	return inParallel(context.Background(), len(all), func(n int) error {
		k := all[n]
		s := m.sounds[k]
		known := m.load(s)
		for i, c := range m.clips {
			if m.held[i][k] != notYet {
				known[c.id] = meeting{m.held[i][k], m.links[i][k]}
			}
		}
		return m.save(s, known)
	})
}

func (m *measurer) load(s *recording) meetings {
	stored := meetings{}
	if b := m.app.Cache.LoadBytes(s.id, linksName); b != nil {
		if gob.NewDecoder(bytes.NewReader(b)).Decode(&stored) != nil {
			return meetings{}
		}
		for id, met := range stored {
			if met.Reach > searched || met.Link != nil && met.Link.Found == nil {
				delete(stored, id)
			}
		}
	}
	return stored
}

func (m *measurer) save(s *recording, known meetings) error {
	var b bytes.Buffer
	if err := gob.NewEncoder(&b).Encode(known); err != nil {
		return err
	}
	return m.app.Cache.SaveBytes(s.id, linksName, b.Bytes())
}

// lineUp looks at every job and keeps the best of each clip and sound.
func (m *measurer) lineUp(ctx context.Context, jobs []job) error {
	var mu sync.Mutex
	return inParallel(ctx, len(jobs), func(n int) error {
		j := jobs[n]
		m.tell.step("lining up", m.clips[j.clip].path, float64(n), float64(len(jobs)))
		return guarded(m.clips[j.clip].path, func() error {
			l, err := m.look(ctx, j)
			mu.Lock()
			defer mu.Unlock()
			m.keep(j.clip, j.sound, l)
			if l != nil && l.Found.Strength >= worthTelling {
				m.tell.found(m.sighting(j.clip, j.sound))
			}
			return err
		})
	})
}

func (m *measurer) keep(i, k int, l *link) {
	if l != nil {
		m.links[i][k] = l.over(m.links[i][k])
	}
}

func (m *measurer) look(ctx context.Context, j job) (l *link, err error) {
	clip, sound := side{m.clips[j.clip], j.clipTrack}, side{m.sounds[j.sound], j.soundTrack}
	err = m.app.withProxies(ctx, clip, sound, func(clip, sound *proxy) error {
		guess := align.Guess{At: j.candidate.At, Sound: j.candidate.Sound}
		found, err := align.Find(clip, heard(sound, m.far), guess)
		if err != nil || found == nil || !sane(found) {
			return err
		}
		l = &link{ClipTrack: j.clipTrack, SoundTrack: j.soundTrack, Score: j.candidate.Score, Found: found}
		if found.Strength >= listenFrom && !m.far { // no wearer is loudest at a camera
			l.Voice, err = align.Listen(clip, sound, found)
		}
		return err
	})
	return l, err
}

// heard is sound as it is to be measured: across the room or not.
func heard(sound align.Source, across bool) align.Source {
	if across {
		return align.Far{Source: sound}
	}
	return sound
}

// find looks for clip i in sound k near a guess, as heard across the room or not.
func (m *measurer) find(ctx context.Context, i, k, clipTrack, soundTrack int, guess align.Guess, across bool) (found *align.Found, err error) {
	clip, sound := side{m.clips[i], clipTrack}, side{m.sounds[k], soundTrack}
	err = m.app.withProxies(ctx, clip, sound, func(clip, sound *proxy) (err error) {
		found, err = align.Find(clip, heard(sound, across), guess)
		return err
	})
	return found, err
}

// listenFrom is the strength from which it is worth while to ask where a match
// holds.
const listenFrom = 8.0

// sane tells whether a measurement holds numbers only: sound that is damage
// from end to end could bring forth others. DriftSigma may be +Inf and Halves
// NaN, which say that they are not known.
func sane(f *align.Found) bool {
	known := []float64{f.Offset, f.Drift, f.Strength, f.Rest, f.Mid, f.MidSigma, f.From, f.To}
	for _, l := range f.Locals {
		known = append(known, l.At, l.Left)
	}
	for _, s := range f.Spans {
		known = append(known, s.Offset, s.Drift, s.From, s.To)
	}
	for _, v := range known {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return f.DriftSigma >= 0 && !math.IsInf(f.Halves, 0)
}

// claps returns the sharp sounds that both recordings hold at the same moment,
// by the sound's time for each of the clip's.
func claps(clip, sound []dsp.Onset, soundAt func(float64) float64) [][2]float64 {
	const near = 0.004 // seconds: an onset is found to a millisecond or two
	var out [][2]float64
	k := 0
	for _, c := range clip {
		at := soundAt(c.At)
		for k > 0 && sound[k-1].At >= at-near { // the sound went back: it was repeated
			k--
		}
		for k < len(sound) && sound[k].At < at-near {
			k++
		}
		if k < len(sound) && math.Abs(sound[k].At-at) <= near {
			out = append(out, [2]float64{c.At, sound[k].At})
		}
	}
	return out
}
