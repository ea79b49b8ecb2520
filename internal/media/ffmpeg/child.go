package ffmpeg

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"syscall"

	"codeberg.org/gruf/go-ffmpreg/wasm"
	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/experimental/sysfs"
)

// childArg is the hidden first argument that makes this program the engine's
// process; childEnv marks that process so that it never starts another.
const (
	childArg = "__media-engine"
	childEnv = "EARSHOT_MEDIA_ENGINE"
)

// ChildMain must be the first thing a program does that uses the embedded
// engine, test programs included (in TestMain): the engine runs in a second
// process of the same program. args are os.Args. When handled is true the
// program must exit with exitCode at once.
func ChildMain(args []string) (handled bool, exitCode int) {
	if len(args) > 0 && args[0] != childArg {
		args = args[1:]
	}
	if len(args) < 2 || args[0] != childArg {
		return false, 0
	}
	var err error
	switch mode := args[1]; {
	case mode == "compile" && len(args) == 3:
		err = compile(context.Background(), args[2])
	case mode == "serve" && len(args) == 3:
		err = serve(os.Stdin, os.Stdout, args[2])
	default:
		err = errors.New("unknown order")
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return true, 1
	}
	return true, 0
}

// A server runs jobs in the engine's process.
type server struct {
	rt   wazero.Runtime
	mod  wazero.CompiledModule
	out  *frameWriter
	mu   sync.Mutex
	jobs map[uint32]*served
}

// serve runs jobs until in ends, which it does when the parent ends, however
// it ends. dir holds compiled code; "" compiles into memory.
func serve(in io.Reader, out io.Writer, dir string) error {
	// Compiled code cannot be stopped for others' sake: threads to spare keep
	// the talk with the parent going while every core computes.
	runtime.GOMAXPROCS(runtime.NumCPU() + 2)
	debug.SetGCPercent(50)
	rt, mod, err := load(context.Background(), dir)
	if err != nil {
		return err
	}
	debug.FreeOSMemory()
	s := &server{rt: rt, mod: mod, out: &frameWriter{w: out}, jobs: map[uint32]*served{}}
	if err := s.out.send(kHello, 0, []byte(greeting)); err != nil {
		return err
	}
	r := bufio.NewReaderSize(in, 2*chunk)
	for {
		m, err := readMsg(r)
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		s.handle(m)
	}
}

func (s *server) handle(m msg) {
	s.mu.Lock()
	j := s.jobs[m.job]
	s.mu.Unlock()
	switch {
	case m.kind == kStart && j == nil:
		s.start(m)
	case j == nil: // it has ended meanwhile
	case m.kind == kInput:
		j.in.put(m.data)
	case m.kind == kEnd:
		j.in.end()
	case m.kind == kTook:
		j.room.give(m.count())
	case m.kind == kCancel:
		j.stop()
	}
}

// A served is one job under way in the engine's process.
type served struct {
	s         *server
	id        uint32
	in        *inbox
	room      *credit
	cancelled atomic.Bool
}

func (j *served) stop() {
	j.cancelled.Store(true)
	j.in.stop()
	j.room.shutDown()
}

func (s *server) start(m msg) {
	var o order
	if err := json.Unmarshal(m.data, &o); err != nil {
		s.out.send(kFail, m.job, []byte(err.Error()))
		return
	}
	j := &served{s: s, id: m.job, room: newCredit()}
	j.in = newInbox(func(n int) { s.out.sendCount(kTook, m.job, n) })
	s.mu.Lock()
	s.jobs[m.job] = j
	s.mu.Unlock()
	go func() {
		code, err := j.run(o)
		s.mu.Lock()
		delete(s.jobs, m.job)
		s.mu.Unlock()
		if err != nil {
			s.out.send(kFail, m.job, []byte(err.Error()))
			return
		}
		s.out.sendCount(kExit, m.job, int(code))
	}()
}

// run runs one instance of the module to its end.
func (j *served) run(o order) (code uint32, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%v", p)
		}
	}()
	out := bufio.NewWriterSize(jobOutput{j}, chunk)
	defer out.Flush() // it fails only when the job was cancelled or the parent is gone
	return wasm.Run(withOwnMemory(context.Background()), j.s.rt, j.s.mod, wasm.Args{
		Name: o.Tool, Args: o.Args,
		Stdin: j.in, Stdout: out, Stderr: jobErrors{j},
		Config: func(c wazero.ModuleConfig) wazero.ModuleConfig {
			fs := wazero.NewFSConfig().(sysfs.FSConfig).WithSysFSMount(newOrderFS(o.Files, &j.cancelled), mount)
			return c.WithFSConfig(fs).WithSysWalltime().WithSysNanotime().WithEnv("AV_LOG_FORCE_NOCOLOR", "1")
		},
	})
}

// jobOutput sends what a job writes to stdout, as far as there is room. The
// engine writes a few hundred samples at a time: a buffer before it saves both
// processes a great many wake-ups.
type jobOutput struct{ j *served }

func (o jobOutput) Write(b []byte) (int, error) {
	done := 0
	for done < len(b) {
		n := o.j.room.take(min(len(b)-done, chunk))
		if n == 0 {
			return done, syscall.EPIPE
		}
		if err := o.j.s.out.send(kOutput, o.j.id, b[done:done+n]); err != nil {
			return done, syscall.EPIPE
		}
		done += n
	}
	return done, nil
}

// jobErrors sends what a job writes to stderr, up to a bound: a damaged file
// can make the engine complain without end.
type jobErrors struct{ j *served }

func (o jobErrors) Write(b []byte) (int, error) {
	if !o.j.cancelled.Load() {
		o.j.s.out.send(kSaid, o.j.id, b[:min(len(b), chunk)])
	}
	return len(b), nil
}

// An inbox holds what has come in for a job's stdin. The sender's credit keeps
// it within the window.
type inbox struct {
	mu      sync.Mutex
	cond    *sync.Cond
	parts   [][]byte
	ended   bool
	stopped bool
	took    func(n int)
}

func newInbox(took func(int)) *inbox {
	b := &inbox{took: took}
	b.cond = sync.NewCond(&b.mu)
	return b
}

func (b *inbox) change(f func()) {
	b.mu.Lock()
	defer b.mu.Unlock()
	f()
	b.cond.Broadcast()
}

func (b *inbox) put(p []byte) { b.change(func() { b.parts = append(b.parts, p) }) }
func (b *inbox) end()         { b.change(func() { b.ended = true }) }
func (b *inbox) stop()        { b.change(func() { b.stopped = true }) }

// Read waits for bytes, the end, or the job's cancellation.
func (b *inbox) Read(p []byte) (int, error) {
	n, err := b.next(p)
	if n > 0 {
		b.took(n)
	}
	return n, err
}

func (b *inbox) next(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for len(b.parts) == 0 && !b.ended && !b.stopped {
		b.cond.Wait()
	}
	if b.stopped {
		return 0, syscall.EIO
	}
	if len(b.parts) == 0 {
		return 0, io.EOF
	}
	n := copy(p, b.parts[0])
	if b.parts[0] = b.parts[0][n:]; len(b.parts[0]) == 0 {
		b.parts = b.parts[1:]
	}
	return n, nil
}
