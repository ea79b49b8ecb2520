// Package ffmpeg is the media engine we ship with: FFmpeg, either the one
// installed on the machine ("native") or a WebAssembly build carried inside
// the program ("embedded"). Both get the same argument lists, made by pure
// functions from the requests of package media.
package ffmpeg

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"earshot/internal/fault"
	"earshot/internal/media"
)

const (
	chunk      = 64 << 10 // bytes moved at a time
	stallAfter = 120 * time.Second
)

// Options choose the engine. The zero value chooses by itself and keeps its
// cache in the user's cache folder.
type Options struct {
	Choice   string       // "auto" (or ""), "embedded", "native"
	CacheDir string       // where compiled code and findings are kept; "" takes the user's cache folder
	Say      func(string) // gets visible one-line messages, such as the one-time compile; may be nil
}

// An Engine is FFmpeg behind the interface media.Engine. It is safe for
// concurrent use.
type Engine struct {
	opt    Options
	mu     sync.Mutex
	runner runner
	notes  []string
	shut   bool
	closed chan struct{}
	stall  time.Duration // a job that makes no progress for so long is ended
}

var _ media.Engine = (*Engine)(nil)

// Open returns an engine. Nothing is looked for, unzipped, compiled or
// started before the first job; a native engine that is missing or unfit is
// reported then.
func Open(opt Options) (media.Engine, error) {
	switch opt.Choice {
	case "":
		opt.Choice = "auto"
	case "auto", "embedded", "native":
	default:
		return nil, &fault.Error{Kind: fault.Usage, Op: "choose media engine", Subject: opt.Choice,
			Err: errors.New("no such engine"), Hint: "choose auto, embedded or native"}
	}
	if opt.CacheDir == "" {
		dir, err := os.UserCacheDir()
		if err != nil {
			dir = os.TempDir()
		}
		opt.CacheDir = filepath.Join(dir, "earshot")
	}
	if opt.Say == nil {
		opt.Say = func(string) {}
	}
	return &Engine{opt: opt, stall: stallAfter, closed: make(chan struct{})}, nil
}

// errClosed ends the jobs of an engine that is closed.
var errClosed error = &fault.Error{Kind: fault.Internal, Op: "use the media engine", Err: errors.New("it was closed")}

// choose finds the runner on first use.
func (e *Engine) choose(ctx context.Context) (runner, error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.shut {
		return nil, errClosed
	}
	if e.runner != nil {
		return e.runner, nil
	}
	if e.opt.Choice == "embedded" {
		e.runner = newEmbedded(e.opt)
		return e.runner, nil
	}
	n, why := findNative(ctx, e.opt.CacheDir)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	switch {
	case n != nil:
		e.runner = n
	case e.opt.Choice == "native":
		return nil, &fault.Error{Kind: fault.Engine, Op: "find a native ffmpeg", Err: errors.New(why),
			Hint: "install ffmpeg 5.0 or newer, or use the embedded engine (--engine embedded)"}
	default:
		e.notes = append(e.notes, "native ffmpeg passed over: "+why)
		e.runner = newEmbedded(e.opt)
	}
	return e.runner, nil
}

// Close ends whatever is still running.
func (e *Engine) Close() error {
	e.mu.Lock()
	defer e.mu.Unlock()
	if !e.shut {
		e.shut = true
		close(e.closed)
	}
	if e.runner == nil {
		return nil
	}
	return e.runner.close()
}

// run does a job and ends it when it makes no progress: no byte read or
// written and no growth of the file grow (may be "") for e.stall.
func (e *Engine) run(ctx context.Context, j job, grow string) (result, error) {
	r, err := e.choose(ctx)
	if err != nil {
		return result{}, err
	}
	asked := ctx
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	if err := e.ready(ctx, r, stop); err != nil {
		return result{}, err
	}
	w := &watch{grow: grow, stall: e.stall, closed: e.closed}
	if in := j.stdin; in != nil {
		j.stdin = &watchedReader{in, w}
	}
	if sink := j.stdout; sink != nil {
		j.stdout = func(b []byte) error {
			w.busy.Add(1)
			defer func() { w.busy.Add(-1); w.moved.Add(1) }()
			return sink(b)
		}
	}
	go w.guard(ctx, stop)
	res, err := r.run(ctx, j)
	if errors.Is(err, errStalled) || (err != nil && errors.Is(context.Cause(ctx), errStalled)) {
		return res, errStalled
	}
	if err != nil && asked.Err() != nil && err == context.Cause(asked) {
		err = asked.Err()
	}
	var src sourceError
	if errors.As(err, &src) {
		err = src.error
	}
	return res, err
}

// ready prepares the runner. Compiling takes as long as the machine needs, and
// counts for no job.
func (e *Engine) ready(ctx context.Context, r runner, stop func(error)) error {
	done := make(chan struct{})
	defer close(done)
	go func() {
		select {
		case <-e.closed:
			stop(errClosed)
		case <-done:
		}
	}()
	err := r.ready(ctx)
	if cause := context.Cause(ctx); cause != nil {
		return cause
	}
	return err
}

// A watch sees whether a job gets on.
type watch struct {
	moved atomic.Int64 // counts chunks
	busy  atomic.Int64 // calls into our own code under way: their time is not the engine's
	grow  string
	stall time.Duration

	closed <-chan struct{} // ends every job
}

func (w *watch) guard(ctx context.Context, stop func(error)) {
	var seen, size int64
	last := time.Now()
	tick := time.NewTicker(min(time.Second, w.stall/4))
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-w.closed:
			stop(errClosed)
			return
		case <-tick.C:
		}
		n, s := w.moved.Load(), w.size()
		if n != seen || s != size || w.busy.Load() > 0 {
			seen, size, last = n, s, time.Now()
		}
		if time.Since(last) > w.stall {
			stop(errStalled)
			return
		}
	}
}

func (w *watch) size() int64 {
	if w.grow == "" {
		return 0
	}
	st, err := os.Stat(w.grow)
	if err != nil {
		return 0
	}
	return st.Size()
}

type watchedReader struct {
	io.Reader
	w *watch
}

func (r *watchedReader) Read(b []byte) (int, error) {
	r.w.busy.Add(1)
	n, err := r.Reader.Read(b)
	r.w.busy.Add(-1)
	r.w.moved.Add(1)
	return n, err
}

// settle turns a runner's error into one that names the file.
func settle(op, path string, err error) error {
	if errors.Is(err, errStalled) {
		return &fault.Error{Kind: fault.Unreadable, Op: op, Subject: path, Err: err,
			Hint: "the file may be damaged, or its disk may have stopped answering"}
	}
	return err
}

// checkInput makes sure that path is a plain file with something in it that
// can be opened, so that the engine never waits on a pipe or a device.
func checkInput(op, path string) error {
	bad := func(err error, hint string) error {
		return &fault.Error{Kind: fault.Unreadable, Op: op, Subject: path, Err: err, Hint: hint}
	}
	st, err := os.Stat(path)
	err = fault.Cause(err)
	switch {
	case err != nil:
		return bad(err, "check the name and the disk")
	case st.IsDir():
		return bad(errors.New("it is a folder"), "give a file")
	case !st.Mode().IsRegular():
		return bad(errors.New("it is no ordinary file"), "copy it to a disk first")
	case st.Size() == 0:
		return bad(errors.New("the file is empty"), "copy it from the card again")
	}
	f, err := os.Open(path)
	if err != nil {
		return bad(fault.Cause(err), "check the file's permissions")
	}
	return f.Close()
}
