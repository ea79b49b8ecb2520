package desk

import (
	"context"
	"errors"
	"os"
	"path/filepath"

	"earshot/internal/app"
	"earshot/internal/fault"
)

// marriedFolder is where finished clips go unless asked otherwise.
func (d *Desk) marriedFolder() string { return filepath.Join(d.opt.Folder, "married") }

// Marry begins to write finished clips; how it goes is shown in Marriage.
func (d *Desk) Marry(_ context.Context, ask MarryAsk) error {
	day, err := d.measured("marry")
	if err != nil {
		return err
	}
	opt := app.MarryOptions{Paths: d.board.shownShoot().Paths, Shoot: d.opt.Folder, To: ask.To, Sound: ask.Sound, Scratch: ask.Scratch, Gaps: ask.Gaps,
		Distance: ask.Distance, Celsius: ask.Celsius, Name: ask.Name, Unsure: ask.Unsure, Again: ask.Again, Version: d.opt.Version}
	if opt.To == "" {
		opt.To = d.marriedFolder()
	} else if !filepath.IsAbs(opt.To) {
		opt.To = filepath.Join(d.opt.Folder, opt.To)
	}
	for _, id := range ask.Only {
		r := day.Recording(id)
		if r == nil || r.Kind() != "clip" {
			return unknown("clip", id)
		}
		opt.Only = append(opt.Only, r.Path())
	}
	ctx, cancel := context.WithCancel(d.alive)
	d.mu.Lock()
	if d.marry != nil {
		d.mu.Unlock()
		cancel()
		return &fault.Error{Kind: fault.Usage, Op: "marry", Err: errors.New("clips are being written already"), Hint: "wait until they are done, or stop that first"}
	}
	d.marry = cancel
	d.mu.Unlock()
	d.marriage(func(m *Marriage) { *m = Marriage{Busy: true, To: opt.To, Clips: []Married{}} })
	opt.Progress = func(p app.Progress) {
		if p.Step == "marrying" {
			d.marriage(func(m *Marriage) { m.Done, m.Total, m.File = p.Done, p.Total, filepath.Base(p.File) })
		}
	}
	d.jobs.Go(func() { d.marrying(ctx, opt) })
	return nil
}

func (d *Desk) marrying(ctx context.Context, opt app.MarryOptions) {
	result, err := d.app.Marry(ctx, opt)
	d.mu.Lock()
	d.marry()
	d.marry = nil
	ids := d.ids
	d.mu.Unlock()
	d.marriage(func(m *Marriage) {
		m.Busy, m.File = false, ""
		if err != nil {
			m.Error, m.Hint = err.Error(), fault.HintOf(err)
			if errors.Is(err, context.Canceled) {
				m.Error, m.Hint = "stopped; what was already finished stays", ""
			}
		}
		if result == nil {
			return
		}
		m.Report = result.Report
		for _, c := range result.Clips {
			m.Clips = append(m.Clips, marriedOf(ids[c.Clip], c))
		}
	})
	d.keepShown()
}

func (d *Desk) marriage(fn func(*Marriage)) {
	d.board.change(func(v int64) {
		fn(&d.board.marriage.is)
		d.board.marriage.since = v
	})
}

func marriedOf(id string, c app.Married) Married {
	m := Married{Take: id, Out: c.Out, State: c.State, Why: c.Why, Error: c.Error}
	if m.State == "" {
		m.State, m.Why = app.Passed, append(m.Why, "not reached before it was stopped")
	}
	if p := c.Proof; p != nil {
		m.Proof = &Proof{State: p.State, Late: finite(p.Late), Sigma: finite(p.LateSigma), P95: finite(p.Seam.P95), Windows: []Left{}, Why: append([]string{}, p.Why...)}
		for _, w := range p.Windows {
			m.Proof.Windows = append(m.Proof.Windows, Left{At: finite(w.At), Late: finite(w.Late)})
		}
	}
	return m
}

// of is what became of a take, nil where nothing did.
func (m Marriage) of(take string) *Married {
	for _, c := range m.Clips {
		if c.Take == take {
			return &c
		}
	}
	return nil
}

// StopMarrying stops what Marry began.
func (d *Desk) StopMarrying() {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.marry != nil {
		d.marry()
	}
}

// Married is where the finished clip of a take lies.
func (d *Desk) Married(take string) (string, error) {
	m := d.board.shownMarriage().of(take)
	if m != nil && m.Out != "" && (m.State == app.Written || m.State == app.Kept) {
		return m.Out, nil
	}
	return "", unknown("finished clip", take)
}

// Reveal shows the person the folder of the finished clips ("married"), of the
// shoot ("shoot"), or of a take's original.
func (d *Desk) Reveal(_ context.Context, what, take string) error {
	folder := d.opt.Folder
	switch {
	case take != "":
		path, err := d.File(take)
		if err != nil {
			return err
		}
		folder = filepath.Dir(path)
	case what == "married":
		folder = d.board.shownMarriage().To
		if folder == "" {
			folder = d.marriedFolder()
		}
	}
	if _, err := os.Stat(folder); err != nil {
		return &fault.Error{Kind: fault.Unreadable, Op: "open the folder", Subject: folder, Err: fault.Cause(err), Hint: "marry first: the folder is made then"}
	}
	if d.opt.Reveal == nil {
		return &fault.Error{Kind: fault.Usage, Op: "open the folder", Subject: folder, Err: errors.New("there is no file browser here"), Hint: "open it by hand"}
	}
	return d.opt.Reveal(folder)
}
