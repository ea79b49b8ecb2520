// Torment is a tool for developers. It holds Earshot's promises against the
// worst that can happen to it: the program killed at any instant, and files
// broken in any way.
//
//	go run ./cmd/torment [-engine native,embedded] [-kills 50] [-broken 200] [-seed 1]
//
// It must be run inside the source tree. Everything it does follows from the
// seed, but for the instants at which the machine lets a killed program die.
// It prints counts, then each broken promise on a line of its own, and ends
// with status 1 when there is one.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"

	"earshot/internal/media/ffmpeg"
)

func main() {
	if handled, status := ffmpeg.ChildMain(os.Args); handled {
		os.Exit(status)
	}
	var o options
	engines := flag.String("engine", "native,embedded", "media `engines` to torment, with commas between")
	flag.IntVar(&o.kills, "kills", 50, "how often to kill a run")
	flag.IntVar(&o.broken, "broken", 200, "how many broken files to make")
	flag.Uint64Var(&o.seed, "seed", 1, "chooses instants and breakages")
	flag.StringVar(&o.keep, "keep", "", "work in this `folder` and leave it there")
	flag.Parse()
	ctx, release := signal.NotifyContext(context.Background(), os.Interrupt)
	defer release()
	o.say = func(line string) { fmt.Println(line) }
	wrongs := 0
	for _, engine := range strings.Split(*engines, ",") {
		o.engine = strings.TrimSpace(engine)
		list, err := torment(ctx, o)
		if err != nil {
			fmt.Fprintln(os.Stderr, "torment:", err)
			os.Exit(1)
		}
		wrongs += len(list)
	}
	if wrongs > 0 {
		os.Exit(1)
	}
}

// options say how much torment there is to be.
type options struct {
	engine        string // "native" or "embedded"
	kills, broken int
	seed          uint64
	keep          string // folder to work in; "" = one that is removed
	say           func(line string)
}

// torment does all there is to do with one engine and returns the promises
// that were broken, in words.
func torment(ctx context.Context, o options) (wrongs []string, err error) {
	dir := o.keep
	if dir == "" {
		if dir, err = os.MkdirTemp("", "earshot-torment-"); err != nil {
			return nil, err
		}
		defer os.RemoveAll(dir)
	}
	r, err := newRig(ctx, o, filepath.Join(dir, o.engine))
	if err != nil {
		return nil, err
	}
	if o.kills > 0 {
		if err := r.killing(ctx); err != nil {
			return r.wrongs, err
		}
	}
	if o.broken > 0 {
		if err := r.breaking(ctx); err != nil {
			return r.wrongs, err
		}
	}
	for _, w := range r.wrongs {
		r.say("WRONG: %s", w)
	}
	r.say("%s: %d broken promises", o.engine, len(r.wrongs))
	return r.wrongs, nil
}

// build makes the program under test.
func build(ctx context.Context, to string) error {
	cmd := exec.CommandContext(ctx, "go", "build", "-o", to, "earshot/cmd/earshot")
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
	if said, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("build the program: %w\n%s", err, said)
	}
	return nil
}
