package ffmpeg

import (
	"bufio"
	"context"
	"errors"
	"io"
	"os/exec"
	"sync"
	"time"
)

// A link is the parent's end of the talk with one child.
type link struct {
	cmd  *exec.Cmd
	out  *frameWriter
	said tail // the child's own stderr
	gone chan struct{}

	mu    sync.Mutex
	calls map[uint32]*call
	next  uint32
	ended bool
	why   error
}

// A call is one job under way, seen from the parent.
type call struct {
	id   uint32
	room *credit

	mu    sync.Mutex
	queue []msg         // output and the end; bounded by the window
	ring  chan struct{} // told when the queue grows or the child dies
	said  tail
}

// startLink starts a child and waits for its greeting.
func startLink(ctx context.Context, dir string) (*link, error) {
	cmd, err := childCommand(context.Background(), "serve", dir)
	if err != nil {
		return nil, err
	}
	l := &link{cmd: cmd, calls: map[uint32]*call{}, gone: make(chan struct{})}
	in, err := cmd.StdinPipe()
	if err != nil {
		return nil, engineError(err, "")
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, engineError(err, "")
	}
	cmd.Stderr = &l.said
	l.out = &frameWriter{w: in}
	if err := cmd.Start(); err != nil {
		return nil, engineError(err, "")
	}
	hello := make(chan error, 1)
	go l.listen(bufio.NewReaderSize(out, 2*chunk), hello)
	select {
	case err = <-hello:
	case <-ctx.Done():
		err = ctx.Err()
	}
	if err == nil {
		return l, nil
	}
	l.kill()
	<-l.gone
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if text := lastLine(l.said.String()); text != "" {
		err = errors.New(text)
	}
	return nil, engineError(err, "use a native ffmpeg instead (--engine native)")
}

// listen hands the child's frames to their calls until it ends.
func (l *link) listen(r io.Reader, hello chan<- error) {
	m, err := readMsg(r)
	if err == nil && (m.kind != kHello || string(m.data) != greeting) {
		err = errFrame
	}
	hello <- err
	for err == nil {
		if m, err = readMsg(r); err == nil {
			l.deliver(m)
		}
	}
	l.kill()
	status := l.cmd.Wait()
	l.mu.Lock()
	l.ended, l.why = true, died(status, l.said.String())
	for _, c := range l.calls {
		c.room.shutDown()
		c.poke()
	}
	l.mu.Unlock()
	close(l.gone)
}

func (l *link) deliver(m msg) {
	l.mu.Lock()
	c := l.calls[m.job]
	l.mu.Unlock()
	if c == nil {
		return
	}
	switch m.kind {
	case kTook:
		c.room.give(m.count())
	case kSaid:
		c.mu.Lock()
		c.said.Write(m.data)
		c.mu.Unlock()
	case kOutput, kExit, kFail:
		c.mu.Lock()
		c.queue = append(c.queue, m)
		c.mu.Unlock()
		c.poke()
	}
}

func (c *call) poke() {
	select {
	case c.ring <- struct{}{}:
	default:
	}
}

func (c *call) pop() (msg, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.queue) == 0 {
		return msg{}, false
	}
	m := c.queue[0]
	c.queue = c.queue[1:]
	return m, true
}

// kill ends the child, which has no children of its own.
func (l *link) kill() { _ = l.cmd.Process.Kill() }

func (l *link) dead() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.ended
}

// run does one job.
func (l *link) run(ctx context.Context, j job) (result, error) {
	o, err := orderFor(j)
	if err != nil {
		return result{}, err
	}
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	c, err := l.open()
	if err != nil {
		return result{}, err
	}
	defer l.forget(c)
	// A failed write means that the child is dying: its end is waited for below.
	_ = l.out.send(kStart, c.id, o.marshal())
	var fed sync.WaitGroup
	fed.Go(func() { l.feed(c, j.stdin, stop) })
	res, err := l.attend(ctx, c, j.stdout, stop)
	c.room.shutDown()
	if j.stdin != nil {
		waitFor(&fed, time.Second)
	}
	if cause := context.Cause(ctx); cause != nil {
		return result{}, cause
	}
	return res, err
}

func (l *link) open() (*call, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.ended {
		return nil, l.why
	}
	l.next++
	c := &call{id: l.next, room: newCredit(), ring: make(chan struct{}, 1)}
	l.calls[c.id] = c
	return c, nil
}

func (l *link) forget(c *call) {
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.calls, c.id)
}

// attend takes what the job sends until it ends, or ends it when ctx does.
func (l *link) attend(ctx context.Context, c *call, sink func([]byte) error, stop func(error)) (result, error) {
	var late <-chan time.Time
	done := ctx.Done()
	for {
		if m, ok := c.pop(); ok {
			switch m.kind {
			case kExit:
				return result{code: m.count(), said: c.text()}, nil
			case kFail:
				return result{}, died(errors.New(string(m.data)), "")
			}
			if sink != nil && ctx.Err() == nil {
				if err := sink(m.data); err != nil {
					stop(err)
				}
			}
			_ = l.out.sendCount(kTook, c.id, len(m.data))
			continue
		}
		select {
		case <-c.ring:
		case <-done:
			done = nil
			_ = l.out.send(kCancel, c.id, nil)
			late = time.After(endWithin)
		case <-late:
			l.kill()
			late = nil
		case <-l.gone:
			return result{}, l.why
		}
	}
}

func (c *call) text() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.said.String()
}

// feed sends a job its stdin.
func (l *link) feed(c *call, in io.Reader, stop func(error)) {
	buf := make([]byte, chunk)
	for in != nil {
		room := c.room.take(len(buf))
		if room == 0 {
			return
		}
		n, err := in.Read(buf[:room])
		c.room.give(room - n)
		if n > 0 && l.out.send(kInput, c.id, buf[:n]) != nil {
			return
		}
		if err == io.EOF {
			break
		}
		if err != nil {
			stop(sourceError{err})
			return
		}
	}
	_ = l.out.send(kEnd, c.id, nil)
}
