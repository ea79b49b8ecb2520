package desk

import (
	"context"
	"errors"
	"io/fs"
	"path/filepath"
	"sync"

	"earshot/internal/app"
	"earshot/internal/fault"
	"earshot/internal/shoot"
	"earshot/internal/store"
)

// Options say which shoot lies on the desk.
type Options struct {
	Folder  string                  // where its state lies; made when missing
	Add     []string                // files and folders to add to what is in it
	Version string                  // of the program, for reports
	Reveal  func(path string) error // shows a folder to the person
}

// A Desk is a shoot lying open. Its methods are safe for concurrent use.
type Desk struct {
	app   *app.App
	opt   Options
	store *store.Shoot
	board *board

	saying  sync.Mutex // held while the words of the store and of the desk are brought together
	showing sync.Mutex // held while the board is brought in line with the words, so that the newest come last

	mu        sync.Mutex // holds what follows
	day       *app.Day   // nil until measured
	words     map[string]shoot.Word
	paths     map[string]string // by id: where a recording lies
	ids       map[string]string // by path
	marry     context.CancelFunc
	listening struct { // whose loudness is being measured from end to end
		name string
		stop context.CancelFunc
	}

	again    chan struct{} // measuring is to begin anew
	jobs     sync.WaitGroup
	stop     context.CancelFunc
	alive    context.Context
	pictures *pictures
}

// Open lays a shoot on the desk and begins to measure what is new of it. Close
// must be called.
func Open(a *app.App, opt Options) (*Desk, error) {
	folder, err := filepath.Abs(opt.Folder)
	if err != nil {
		return nil, &fault.Error{Kind: fault.Usage, Op: "open the shoot", Subject: opt.Folder, Err: err, Hint: "name a folder"}
	}
	opt.Folder = folder
	s, err := store.OpenShoot(folder)
	if err != nil {
		return nil, err
	}
	d := &Desk{app: a, opt: opt, store: s, board: newBoard(), paths: map[string]string{}, ids: map[string]string{},
		again: make(chan struct{}, 1), pictures: newPictures(a)}
	d.alive, d.stop = context.WithCancel(context.Background())
	if err := errors.Join(d.recall(), d.add(opt.Add, nil)); err != nil {
		d.stop()
		return nil, errors.Join(err, s.Close())
	}
	if len(d.board.shownShoot().Paths) > 0 {
		d.work(Work{Busy: true, Step: "reading"})
	}
	d.jobs.Go(d.measuring)
	d.jobs.Go(d.watching)
	return d, nil
}

// Close stops what is under way and closes the shoot. Nothing that was said is
// lost.
func (d *Desk) Close() error {
	d.stop()
	d.jobs.Wait()
	return d.store.Close()
}

// Quit stops what is under way: whoever serves the desk is about to close it.
func (d *Desk) Quit() { d.StopMarrying() }

// State is all that is shown.
func (d *Desk) State() State { return d.board.state() }

// Changes waits until there is something newer than a version, and tells it.
func (d *Desk) Changes(ctx context.Context, since int64) (Patch, error) {
	return d.board.changes(ctx, since)
}

// recall shows what the shoot's store holds: the desk as it was left.
func (d *Desk) recall() error {
	paths, err := d.store.Paths()
	if err != nil {
		return err
	}
	if d.words, err = d.store.Words(); err != nil {
		return err
	}
	d.board.change(func(v int64) {
		d.board.shoot = part[Shoot]{Shoot{Folder: d.opt.Folder, Name: filepath.Base(d.opt.Folder), Paths: append([]string{}, paths...)}, v}
	})
	if err := d.recallShown(); err != nil {
		return err
	}
	return d.showHistory()
}

func (d *Desk) showHistory() error {
	undo, redo, err := d.store.Ahead()
	if err == nil {
		d.board.setHistory(undo, redo)
	}
	return err
}

// errNone is an fs.ErrNotExist in our words.
type errNone struct{}

func (errNone) Error() string        { return "there is none of that name on the desk" }
func (errNone) Is(target error) bool { return target == fs.ErrNotExist }

// unknown says that there is no such recording or take.
func unknown(what, id string) error {
	return &fault.Error{Kind: fault.Unreadable, Op: "look for the " + what, Subject: id, Err: errNone{},
		Hint: "it may have been taken off; load the page anew"}
}

// errMeasuring is the answer while a shoot is not measured yet.
func errMeasuring(what string) error {
	return &fault.Error{Kind: fault.Unreadable, Op: what, Err: errors.New("the shoot is still being measured"), Hint: "wait until it is done"}
}

// measured is the day, once there is one.
func (d *Desk) measured(what string) (*app.Day, error) {
	if day := d.lookedAt(); day != nil {
		return day, nil
	}
	return nil, errMeasuring(what)
}

// lookedAt is the day, nil until it is measured.
func (d *Desk) lookedAt() *app.Day {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.day
}
