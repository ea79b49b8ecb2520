package ffmpeg

import (
	"context"
	"errors"
	"io"
	"os/exec"
	"sync"
	"time"

	"earshot/internal/fault"
)

// native runs the ffmpeg and ffprobe installed on the machine, one process a
// job, each in a process group of its own so that a terminal's interrupt goes
// to us alone.
type native struct {
	ffmpeg, ffprobe string // paths of the programs
	version         string
}

func (n *native) name() string { return "native" }
func (n *native) close() error { return nil }

func (n *native) ready(ctx context.Context) error { return ctx.Err() }

func (n *native) run(ctx context.Context, j job) (result, error) {
	ws, err := absolute(j.words)
	if err != nil {
		return result{}, err
	}
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	program := n.ffmpeg
	if j.tool == "ffprobe" {
		program = n.ffprobe
	}
	cmd := exec.CommandContext(ctx, program, n.dialect(spell(ws, func(p string) string { return p }))...)
	ownGroup(cmd)
	cmd.Cancel = func() error { return killGroup(cmd) }
	cmd.WaitDelay = time.Second
	var said tail
	cmd.Stderr = &said
	out, err := cmd.StdoutPipe()
	if err != nil {
		return result{}, n.broken(err)
	}
	feed, err := feedFor(cmd, j.stdin, stop)
	if err != nil {
		return result{}, n.broken(err)
	}
	if err := cmd.Start(); err != nil {
		return result{}, n.broken(err)
	}
	var fed sync.WaitGroup
	if feed != nil {
		fed.Go(feed)
	}
	drain(out, j.stdout, stop)
	err = cmd.Wait()
	// A writer that still waits for its source is left behind: the source is
	// the caller's to close.
	waitFor(&fed, time.Second)
	if cause := context.Cause(ctx); cause != nil {
		return result{}, cause
	}
	var exit *exec.ExitError
	switch {
	case err == nil:
		return result{said: said.String()}, nil
	case errors.As(err, &exit) && exit.Exited():
		return result{code: exit.ExitCode(), said: said.String()}, nil
	}
	return result{}, died(err, said.String())
}

// dialect puts arguments into the words of the version at hand: 5.0 has another
// one for -fps_mode.
func (n *native) dialect(args []string) []string {
	if v := number.FindStringSubmatch(n.version); v == nil || v[1] != "5" || v[2] != "0" {
		return args
	}
	for i, a := range args {
		if a == "-fps_mode" {
			args[i] = "-vsync"
		}
	}
	return args
}

// broken says that the program could not be started.
func (n *native) broken(err error) error {
	return &fault.Error{Kind: fault.Engine, Op: "start the media engine", Subject: n.ffmpeg, Err: err,
		Hint: "use the embedded engine instead (--engine embedded)"}
}

// feedFor returns a function that copies in to the command's standard input,
// or nil when there is nothing to copy.
func feedFor(cmd *exec.Cmd, in io.Reader, stop func(error)) (func(), error) {
	if in == nil {
		return nil, nil
	}
	pipe, err := cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	return func() {
		defer pipe.Close()
		if _, err := io.CopyBuffer(pipe, onlyReader{in}, make([]byte, chunk)); err != nil && isSource(err) {
			stop(err)
		}
	}, nil
}

// onlyReader marks errors that come from the source, so that they can be told
// from a tool that stopped reading.
type onlyReader struct{ r io.Reader }

type sourceError struct{ error }

func (e sourceError) Unwrap() error { return e.error }

func (o onlyReader) Read(b []byte) (int, error) {
	n, err := o.r.Read(b)
	if err != nil && err != io.EOF {
		err = sourceError{err}
	}
	return n, err
}

func isSource(err error) bool {
	var s sourceError
	return errors.As(err, &s)
}

// drain hands all of out to sink; an error of sink stops the job.
func drain(out io.Reader, sink func([]byte) error, stop func(error)) {
	buf := make([]byte, chunk)
	for {
		n, err := io.ReadFull(out, buf)
		if n > 0 && sink != nil {
			if e := sink(buf[:n]); e != nil {
				stop(e)
				sink = nil
			}
		}
		if err != nil {
			return
		}
	}
}

// waitFor waits for g, but not longer than d.
func waitFor(g *sync.WaitGroup, d time.Duration) {
	done := make(chan struct{})
	go func() { g.Wait(); close(done) }()
	select {
	case <-done:
	case <-time.After(d):
	}
}
