package app

import (
	"bytes"
	"context"
	"encoding/gob"
	"math"
	"runtime"
	"slices"
	"sync"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/match"
	"earshot/internal/store"
)

// A link is what was measured between one clip and one sound.
type link struct {
	ClipTrack, SoundTrack int
	Score                 float64 // of the sketch
	Found                 *align.Found
}

// linkSet is what the cache keeps with a sound: its link to every clip it was
// ever held against, nil where there is none.
type linkSet map[store.Identity]*link

// linksName carries the version of the method: a change of method measures
// anew.
const linksName = "links-12.gob"

// How many places of a sound are looked at closely, and from which score of
// the sketches on.
const (
	closePlaces = 3
	leastScore  = 4.0 // of the best place
	leastOther  = 5.5 // of the others
)

// A measurer holds clips against sounds.
type measurer struct {
	app    *App
	fresh  bool
	tell   *teller
	clips  []*recording
	sounds []*recording
	links  [][]*link // [clip][sound]
	far    bool      // clips against clips, or sounds against sounds: see align.Far
}

// run measures every clip against every sound.
func (m *measurer) run(ctx context.Context) error {
	m.links = make([][]*link, len(m.clips))
	for i := range m.links {
		m.links[i] = make([]*link, len(m.sounds))
	}
	prepared := &preparer{app: m.app, clips: m.clips}
	for k := range m.sounds {
		if err := m.sound(ctx, k, prepared); err != nil {
			return err
		}
	}
	return ctx.Err()
}

// sound measures all clips against sound k, those that the cache does not
// know.
func (m *measurer) sound(ctx context.Context, k int, prepared *preparer) error {
	s := m.sounds[k]
	known := m.load(s)
	var todo []int
	for i, c := range m.clips {
		if l, ok := known[c.id]; ok && !m.fresh {
			m.links[i][k] = l
		} else {
			todo = append(todo, i)
		}
	}
	if len(todo) == 0 {
		return nil
	}
	jobs, err := m.search(ctx, todo, k, prepared)
	if err != nil {
		return err
	}
	if err := m.lineUp(ctx, jobs, k); err != nil {
		return err
	}
	for _, i := range todo {
		known[m.clips[i].id] = m.links[i][k]
	}
	return m.save(s, known)
}

func (m *measurer) load(s *recording) linkSet {
	known := linkSet{}
	if b := m.app.Cache.LoadBytes(s.id, linksName); b != nil {
		var stored map[store.Identity]link
		if gob.NewDecoder(bytes.NewReader(b)).Decode(&stored) == nil {
			for id, l := range stored {
				if l.Found == nil {
					known[id] = nil
				} else {
					known[id] = &l
				}
			}
		}
	}
	return known
}

func (m *measurer) save(s *recording, known linkSet) error {
	stored := make(map[store.Identity]link, len(known))
	for id, l := range known {
		if l == nil {
			stored[id] = link{}
		} else {
			stored[id] = *l
		}
	}
	var b bytes.Buffer
	if err := gob.NewEncoder(&b).Encode(stored); err != nil {
		return err
	}
	return m.app.Cache.SaveBytes(s.id, linksName, b.Bytes())
}

// A job is one place of a sound to look at closely for a clip.
type job struct {
	clip                  int
	clipTrack, soundTrack int
	candidate             match.Candidate
}

// search looks through sound k's sketches for the clips in todo.
func (m *measurer) search(ctx context.Context, todo []int, k int, prepared *preparer) ([]job, error) {
	var jobs []job
	for st, t := range m.sounds[k].tracks {
		if t.Silent || t.Rows == 0 {
			continue
		}
		sketch, err := m.app.openSketch(ctx, m.sounds[k], st)
		if err != nil {
			return nil, err
		}
		defer sketch.Close()
		for left := todo; len(left) > 0; {
			clips, owners, n, err := prepared.prepare(ctx, left)
			if err != nil {
				return nil, err
			}
			left = left[n:]
			found, err := match.Search(clips, sketch, closePlaces)
			if err != nil {
				return nil, err
			}
			for n, list := range found {
				for rank, c := range list {
					if c.Score >= leastScore && (rank == 0 || c.Score >= leastOther) {
						jobs = append(jobs, job{owners[n].clip, owners[n].track, st, c})
					}
				}
			}
		}
	}
	return jobs, nil
}

// A preparer makes clips' sketches ready for search, as many at once as
// mostReady bytes hold, and keeps the last batch: with few clips they are made
// once for all sounds.
type preparer struct {
	app    *App
	clips  []*recording
	kept   []int
	ready  []*match.Clip
	owners []owner
}

type owner struct{ clip, track int }

const mostReady = 48 << 20

// prepare makes the first clips of todo ready and returns how many.
func (p *preparer) prepare(ctx context.Context, todo []int) ([]*match.Clip, []owner, int, error) {
	if n := len(p.kept); n > 0 && n <= len(todo) && slices.Equal(todo[:n], p.kept) {
		return p.ready, p.owners, n, nil
	}
	p.kept, p.ready, p.owners = nil, nil, nil
	for size := 0; len(p.kept) < len(todo) && size < mostReady; {
		i := todo[len(p.kept)]
		p.kept = append(p.kept, i)
		for t, tr := range p.clips[i].tracks {
			if tr.Silent || tr.Rows == 0 {
				continue
			}
			c, err := p.app.searched(ctx, p.clips[i], t)
			if err != nil {
				p.kept = nil
				return nil, nil, 0, err
			}
			size += c.Bytes()
			p.ready = append(p.ready, c)
			p.owners = append(p.owners, owner{i, t})
		}
	}
	return p.ready, p.owners, len(p.kept), nil
}

// searched makes a track's sketch ready to be looked for.
func (a *App) searched(ctx context.Context, r *recording, track int) (*match.Clip, error) {
	sketch, err := a.openSketch(ctx, r, track)
	if err != nil {
		return nil, err
	}
	defer sketch.Close()
	return match.NewClip(sketch)
}

// lineUp looks at every job closely and keeps the best of each clip.
func (m *measurer) lineUp(ctx context.Context, jobs []job, k int) error {
	next := make(chan job)
	var (
		group sync.WaitGroup
		mu    sync.Mutex
		first error
	)
	for range min(len(jobs), runtime.NumCPU()) {
		group.Go(func() {
			for j := range next {
				var l *link
				err := guarded(m.clips[j.clip].path, func() (err error) {
					l, err = m.look(ctx, j, k)
					return err
				})
				mu.Lock()
				if err != nil && first == nil {
					first = err
				}
				m.keep(j.clip, k, l)
				mu.Unlock()
			}
		})
	}
	for n, j := range jobs {
		if ctx.Err() != nil {
			break
		}
		m.tell.step("lining up", m.clips[j.clip].path, float64(k)+float64(n)/float64(len(jobs)), float64(len(m.sounds)))
		next <- j
	}
	close(next)
	group.Wait()
	if ctx.Err() != nil {
		return ctx.Err()
	}
	return first
}

func (m *measurer) keep(i, k int, l *link) {
	if l == nil {
		return
	}
	if old := m.links[i][k]; old == nil || l.Found.Rest+l.Found.Strength > old.Found.Rest+old.Found.Strength {
		m.links[i][k] = l
	}
}

func (m *measurer) look(ctx context.Context, j job, k int) (*link, error) {
	clip, err := m.app.openProxy(ctx, m.clips[j.clip], j.clipTrack)
	if err != nil {
		return nil, err
	}
	defer clip.Close()
	sound, err := m.app.openProxy(ctx, m.sounds[k], j.soundTrack)
	if err != nil {
		return nil, err
	}
	defer sound.Close()
	guess := align.Guess{At: j.candidate.At, Sound: j.candidate.Sound}
	found, err := align.Find(clip, m.heard(sound), guess)
	if err != nil || found == nil || !sane(found) {
		return nil, err
	}
	return &link{ClipTrack: j.clipTrack, SoundTrack: j.soundTrack, Score: j.candidate.Score, Found: found}, nil
}

func (m *measurer) heard(sound align.Source) align.Source {
	if m.far {
		return align.Far{Source: sound}
	}
	return sound
}

// sane tells whether a measurement holds numbers only: sound that is damage
// from end to end could bring forth others. DriftSigma may be +Inf and Halves
// NaN, which say that they are not known.
func sane(f *align.Found) bool {
	known := []float64{f.Offset, f.Drift, f.Strength, f.Rest, f.Mid, f.MidSigma, f.From, f.To}
	for _, l := range f.Locals {
		known = append(known, l.At, l.Left)
	}
	for _, v := range known {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return f.DriftSigma >= 0 && !math.IsInf(f.Halves, 0)
}

// claps returns the sharp sounds that both recordings hold at the same moment
// under an alignment.
func claps(clip, sound []dsp.Onset, a align.Alignment) [][2]float64 {
	const near = 0.004 // seconds: an onset is found to a millisecond or two
	var out [][2]float64
	k := 0
	for _, c := range clip {
		at := a.Sound(c.At)
		for k < len(sound) && sound[k].At < at-near {
			k++
		}
		if k < len(sound) && math.Abs(sound[k].At-at) <= near {
			out = append(out, [2]float64{c.At, sound[k].At})
		}
	}
	return out
}
