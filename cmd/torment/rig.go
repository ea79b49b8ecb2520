package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"time"

	"earshot/internal/media"
	"earshot/internal/media/ffmpeg"
)

// A rig is the place where one engine is tormented.
type rig struct {
	options
	dir     string
	program string
	day     string // folder of sound recordings that belong together
	helper  media.Engine
	rng     *rand.Rand
	wrongs  []string
	runs    int
}

// newRig builds the program, and makes the shoot with whatever engine there is.
func newRig(ctx context.Context, o options, dir string) (*rig, error) {
	r := &rig{options: o, dir: dir, program: filepath.Join(dir, "earshot"), day: filepath.Join(dir, "day"),
		rng: rand.New(rand.NewPCG(o.seed, 77))}
	for _, d := range []string{r.dir, r.cache(), r.temp()} {
		if err := os.MkdirAll(d, 0o755); err != nil {
			return nil, err
		}
	}
	if err := build(ctx, r.program); err != nil {
		return nil, err
	}
	var err error
	if r.helper, err = ffmpeg.Open(ffmpeg.Options{CacheDir: r.cache()}); err != nil {
		return nil, err
	}
	return r, makeDay(ctx, r.helper, r.day)
}

func (r *rig) cache() string { return filepath.Join(r.dir, "cache") }
func (r *rig) temp() string  { return filepath.Join(r.dir, "temp") }

func (r *rig) say(format string, args ...any) { r.options.say(fmt.Sprintf(format, args...)) }

// wrong takes down a broken promise.
func (r *rig) wrong(format string, args ...any) {
	r.wrongs = append(r.wrongs, fmt.Sprintf(format, args...))
}

// marker names the environment variable by which all processes of one run are
// known, whoever started them.
const marker = "EARSHOT_TORMENT"

// command makes a run of the program, and the mark its processes carry.
func (r *rig) command(args ...string) (*exec.Cmd, string) {
	r.runs++
	mark := fmt.Sprintf("%s=%d-%d", marker, os.Getpid(), r.runs)
	cmd := exec.Command(r.program, append(args, "--engine", r.engine, "--cache", r.cache())...)
	cmd.Env = append(os.Environ(), mark, "TMPDIR="+r.temp(), "NO_COLOR=1", "GOTRACEBACK=all")
	return cmd, mark
}

// A run is how the program ended.
type run struct {
	status   int // exit status; -1 when it was killed for taking too long
	out, err string
	took     time.Duration
}

// run runs the program to its end, at most for limit, and looks for signs of
// a crash.
func (r *rig) run(ctx context.Context, limit time.Duration, args ...string) (run, error) {
	cmd, _ := r.command(args...)
	var out, said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &said
	begin := time.Now()
	if err := cmd.Start(); err != nil {
		return run{}, err
	}
	timer := time.AfterFunc(limit, func() { cmd.Process.Kill() })
	defer timer.Stop()
	defer context.AfterFunc(ctx, func() { cmd.Process.Kill() })()
	err := cmd.Wait()
	res := run{status: cmd.ProcessState.ExitCode(), out: out.String(), err: said.String(), took: time.Since(begin)}
	var exit *exec.ExitError
	if ctx.Err() != nil || err != nil && !errors.As(err, &exit) {
		return res, errors.Join(ctx.Err(), err)
	}
	if res.status == -1 {
		r.wrong("%v: no end after %v", args, limit)
	}
	if crash.MatchString(res.err) || crash.MatchString(res.out) {
		r.wrong("%v: it crashed: %s", args, firstLines(crash.FindString(res.err+res.out), res.err))
	}
	return res, nil
}

// crash is what Go writes when a program falls over, and what ours says of a
// panic it caught.
var crash = regexp.MustCompile(`(?m)^(panic:|fatal error:|goroutine \d+|SIG[A-Z]+:|runtime error).*|mistake in earshot`)

func firstLines(found, all string) string {
	return found + "\n" + all[:min(len(all), 3000)]
}
