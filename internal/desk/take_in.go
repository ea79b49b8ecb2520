package desk

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"earshot/internal/app"
	"earshot/internal/fault"
)

// droppedFolder is where files dropped on the page are taken in.
const droppedFolder = "dropped"

// Drop takes a file dropped on the page into the shoot's folder and adds it. A
// name that is taken by something else gets a number.
func (d *Desk) Drop(ctx context.Context, name string, r io.Reader) error {
	fail := func(err error) error {
		return &fault.Error{Kind: fault.Unwritable, Op: "take in", Subject: name, Err: fault.Cause(err), Hint: "see whether the disk is full, or add the folder it lies in instead"}
	}
	if name != filepath.Base(name) || name == "." || name == ".." || strings.ContainsAny(name, "/\\\x00") {
		return &fault.Error{Kind: fault.Usage, Op: "take in", Subject: name, Err: errors.New("that is no file's name"), Hint: "drop files, not folders"}
	}
	dir := filepath.Join(d.opt.Folder, droppedFolder)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fail(err)
	}
	tmp, err := os.CreateTemp(dir, ".coming-*")
	if err != nil {
		return fail(err)
	}
	_, err = io.Copy(tmp, contextReader{ctx, r})
	if err = errors.Join(err, tmp.Close()); err == nil {
		err = place(tmp.Name(), dir, name)
	}
	if err != nil {
		os.Remove(tmp.Name())
		if ctx.Err() != nil {
			return ctx.Err()
		}
		return fail(err)
	}
	return d.add([]string{dir}, nil)
}

// place gives a finished file its name, or one beside it.
func place(tmp, dir, name string) error {
	ext := filepath.Ext(name)
	stem := strings.TrimSuffix(name, ext)
	for n := 1; n < 1000; n++ {
		path := filepath.Join(dir, name)
		if n > 1 {
			path = filepath.Join(dir, fmt.Sprintf("%s-%d%s", stem, n, ext))
		}
		err := os.Link(tmp, path) // fails where something is, unlike renaming
		switch {
		case err == nil:
			return os.Remove(tmp)
		case errors.Is(err, fs.ErrExist):
			continue
		}
		if _, err := os.Lstat(path); errors.Is(err, fs.ErrNotExist) { // a disk without links
			return os.Rename(tmp, path)
		}
	}
	return errors.New("every name is taken")
}

// A contextReader ends when its context does.
type contextReader struct {
	ctx context.Context
	r   io.Reader
}

// Read implements io.Reader.
func (c contextReader) Read(b []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	return c.r.Read(b)
}

// Demo makes the try-it shoot beside the shoot's state and adds it; making it is
// shown as work.
func (d *Desk) Demo(context.Context) error {
	dir := filepath.Join(d.opt.Folder, "try-it")
	d.jobs.Go(func() {
		d.work(Work{Busy: true, Step: "making the shoot"})
		paths, err := d.app.DemoShoot(d.alive, dir, func(p app.Progress) {
			d.work(Work{Busy: true, Step: p.Step, File: filepath.Base(p.File), Done: p.Done, Total: p.Total})
		})
		if err == nil {
			err = d.add(paths, nil)
		}
		if err != nil && d.alive.Err() == nil {
			d.broken(err)
		}
	})
	return nil
}
