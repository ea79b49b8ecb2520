package desk

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"time"

	"earshot/internal/app"
	"earshot/internal/fault"
)

// Add adds files and folders to the shoot and removes others; measuring begins
// by itself.
func (d *Desk) Add(_ context.Context, add, remove []string) error { return d.add(add, remove) }

func (d *Desk) add(add, remove []string) error {
	paths, err := d.store.Paths()
	if err != nil {
		return err
	}
	was := slices.Clone(paths)
	paths = slices.DeleteFunc(paths, func(p string) bool { return slices.Contains(remove, p) })
	for _, p := range add {
		abs, err := filepath.Abs(p)
		if err == nil {
			_, err = os.Stat(abs)
		}
		if err != nil {
			return &fault.Error{Kind: fault.Unreadable, Op: "add", Subject: p, Err: fault.Cause(err), Hint: "check that the card or disk is still there"}
		}
		if !slices.Contains(paths, abs) {
			paths = append(paths, abs)
		}
	}
	if !slices.Equal(paths, was) {
		if err := d.store.SetPaths(paths); err != nil {
			return err
		}
		d.board.showPaths(paths)
	}
	d.measureAgain()
	return nil
}

// measureAgain lets measuring begin anew, if it is under way, too.
func (d *Desk) measureAgain() {
	select {
	case d.again <- struct{}{}:
	default:
	}
}

// measuring measures whenever it is asked to; a new asking breaks off what is
// under way, and what that had done is in the cache.
func (d *Desk) measuring() {
	asked := false
	for {
		if !asked {
			select {
			case <-d.alive.Done():
				return
			case <-d.again:
			}
		}
		ctx, cancel := context.WithCancel(d.alive)
		done := make(chan struct{})
		go func() { defer close(done); d.measure(ctx) }()
		select {
		case <-done:
			asked = false
		case <-d.again:
			asked = true
		case <-d.alive.Done():
		}
		cancel()
		<-done
		if d.alive.Err() != nil {
			return
		}
	}
}

// measure measures the shoot once and shows what comes of it as it comes.
func (d *Desk) measure(ctx context.Context) {
	paths, err := d.store.Paths()
	if err != nil {
		d.broken(err)
		return
	}
	if len(paths) == 0 {
		d.nothing()
		return
	}
	d.work(Work{Busy: true, Step: "reading"})
	run := &run{desk: d}
	day, err := d.app.Measure(ctx, app.PairOptions{Paths: paths, Skip: d.marriedFolder(), Shoot: d.opt.Folder,
		Progress: run.progress, News: run.news})
	if ctx.Err() != nil {
		return
	}
	if err != nil {
		d.broken(err)
		return
	}
	d.mu.Lock()
	d.day = day
	d.mu.Unlock()
	d.showDay(true)
	d.work(Work{})
	d.keepShown()
	d.prepare(ctx)
}

func (d *Desk) work(w Work) {
	d.board.change(func(v int64) { d.board.work = part[Work]{w, v} })
}

// broken shows why measuring failed.
func (d *Desk) broken(err error) {
	d.work(Work{Error: err.Error(), Hint: fault.HintOf(err)})
}

// nothing shows an empty desk.
func (d *Desk) nothing() {
	d.mu.Lock()
	d.day, d.paths, d.ids = nil, map[string]string{}, map[string]string{}
	d.mu.Unlock()
	b := d.board
	b.change(func(v int64) {
		for _, id := range slices.Clone(b.recs.order) {
			b.recs.remove(id, v)
		}
		for _, id := range slices.Clone(b.takes.order) {
			b.takes.remove(id, v)
		}
		b.work, b.notes = part[Work]{Work{}, v}, part[[]string]{[]string{}, v}
	})
	d.keepShown()
}

// A run shows one measuring as it goes.
type run struct {
	desk *Desk
	told time.Time
}

// progress shows how far the work is, some times a second.
func (r *run) progress(p app.Progress) {
	d := r.desk
	if time.Since(r.told) < 100*time.Millisecond {
		return
	}
	r.told = time.Now()
	id, _ := d.idOf(p.File)
	b := d.board
	b.change(func(v int64) {
		b.work = part[Work]{Work{Busy: true, Step: p.Step, File: filepath.Base(p.File), Done: p.Done, Total: p.Total}, v}
		if rec, ok := b.recs.parts[id]; ok && p.Step == "reading" && rec.is.State != "read" {
			rec.is.State, rec.is.Done = "reading", p.Part
			b.recs.put(id, rec.is, v)
		}
	})
}

// news shows what was found.
func (r *run) news(n app.News) {
	d := r.desk
	switch {
	case n.Files != nil:
		d.showFiles(n.Files)
	case n.Read != nil:
		d.showRead(n.Read)
	case n.Failed != nil:
		d.showFailed(n.Failed.Path, n.Failed.Error)
	case n.Passed != "":
		d.forget(n.Passed)
	case n.Met != nil:
		d.showMet(n.Met)
	}
}

// showFiles lists what will be read, and drops what is not there any more.
func (d *Desk) showFiles(files []app.File) {
	d.mu.Lock()
	d.paths, d.ids = map[string]string{}, map[string]string{}
	for _, f := range files {
		d.paths[f.Key], d.ids[f.Path] = f.Path, f.Key
	}
	known := d.paths
	d.mu.Unlock()
	b := d.board
	b.change(func(v int64) {
		for _, id := range slices.Clone(b.recs.order) {
			if _, ok := known[id]; !ok {
				b.recs.remove(id, v)
				b.takes.remove(id, v)
			}
		}
		for _, f := range files {
			rec, shown := b.recs.parts[f.Key]
			if shown && rec.is.Path == f.Path && rec.is.State == "read" {
				continue
			}
			b.recs.put(f.Key, Recording{ID: f.Key, Path: f.Path, Name: filepath.Base(f.Path), State: "waiting", Tracks: []Track{}}, v)
		}
	})
}

func (d *Desk) showRead(r *app.Recording) {
	id, _ := d.idOf(r.Path())
	b := d.board
	b.change(func(v int64) {
		was := b.recs.parts[id].is
		rec := recordingOf(id, r)
		rec.Day, rec.Alone = was.Day, was.Alone
		b.recs.put(id, rec, v)
	})
}

func (d *Desk) showFailed(path, why string) {
	id, _ := d.idOf(path)
	b := d.board
	b.change(func(v int64) {
		if rec, ok := b.recs.parts[id]; ok {
			rec.is.State, rec.is.Error = "failed", why
			b.recs.put(id, rec.is, v)
		}
	})
}

// forget drops a file that turned out to be none of the shoot's.
func (d *Desk) forget(path string) {
	d.mu.Lock()
	id := d.ids[path]
	delete(d.paths, id)
	d.mu.Unlock()
	d.board.change(func(v int64) { d.board.recs.remove(id, v) })
}

// showMet shows a take that is not weighed yet.
func (d *Desk) showMet(m *app.Sighting) {
	clip, _ := d.idOf(m.Clip)
	sound, _ := d.idOf(m.Sound)
	w := d.said()[clip]
	b := d.board
	b.change(func(v int64) {
		if old, known := b.takes.parts[clip]; known && old.is.Verdict != "weighing" {
			return
		}
		b.takes.put(clip, Take{ID: clip, Sound: sound, Others: []string{}, Verdict: "weighing", Status: "look", Line: m.Line, Measured: m.Line,
			Why: []string{"found; all recordings of the shoot are being weighed together"}, Chance: 1, Word: wholeWord(w)}, v)
	})
}

// shown is what the store keeps of the board, so that the next start shows it at
// once.
type shown struct {
	Recordings []Recording `json:"recordings"`
	Takes      []Take      `json:"takes"`
	Notes      []string    `json:"notes"`
	Marriage   Marriage    `json:"marriage"`
}

const shownName = "shown.json"

func (d *Desk) keepShown() {
	s := d.board.state()
	b, err := json.Marshal(shown{s.Recordings, s.Takes, s.Notes, s.Marriage})
	if err == nil {
		err = d.store.Keep(shownName, b)
	}
	if err != nil {
		d.broken(err)
	}
}

// recallShown shows what was kept. Words are newer than what was shown: takes
// show those of the store.
func (d *Desk) recallShown() error {
	raw, err := d.store.Kept(shownName)
	if err != nil || raw == nil {
		return err
	}
	var s shown
	if json.Unmarshal(raw, &s) != nil {
		return nil // of another version: measuring shows it anew
	}
	b := d.board
	b.change(func(v int64) {
		for _, r := range s.Recordings {
			b.recs.put(r.ID, r, v)
			d.paths[r.ID], d.ids[r.Path] = r.Path, r.ID
		}
		for _, t := range s.Takes {
			b.takes.put(t.ID, t.said(d.words[t.ID]), v)
		}
		s.Marriage.Busy = false
		if s.Marriage.Clips == nil {
			s.Marriage.Clips = []Married{}
		}
		b.marriage, b.notes = part[Marriage]{s.Marriage, v}, part[[]string]{append([]string{}, s.Notes...), v}
	})
	return nil
}

// watching sees what another desk on the same shoot, or a command, said.
func (d *Desk) watching() {
	tick := time.NewTicker(500 * time.Millisecond)
	defer tick.Stop()
	known, _ := d.store.Revision()
	for {
		select {
		case <-d.alive.Done():
			return
		case <-tick.C:
		}
		now, err := d.store.Revision()
		if err != nil || now == known {
			continue
		}
		known = now
		if err := d.heed(); err != nil && !errors.Is(err, context.Canceled) {
			d.broken(err)
		}
	}
}

// heed takes over what stands in the store.
func (d *Desk) heed() error {
	was, is, err := d.reread(nil)
	if err != nil {
		return err
	}
	paths, err := d.store.Paths()
	if err != nil {
		return err
	}
	if !slices.Equal(paths, d.board.shownShoot().Paths) {
		d.board.showPaths(paths)
		d.measureAgain()
	}
	return d.showWords(was, is)
}
