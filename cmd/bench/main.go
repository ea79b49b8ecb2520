// Bench measures what Earshot costs: time as ratios to work that cannot be
// avoided, measured side by side in one run, and peak memory, each beside what
// is required of it. It serves those who work on Earshot.
//
//	go run ./cmd/bench
//	go run ./cmd/bench -parts pair,start -engines native -rounds 5
//	go run ./cmd/bench -parts season,files -engines native
//	go run ./cmd/bench -profile pair -engines native
//
// The material is made once, with a native ffmpeg, and kept in a folder.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"

	"earshot/internal/media/ffmpeg"
)

func main() {
	if handled, status := ffmpeg.ChildMain(os.Args); handled {
		os.Exit(status)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}

// A bench is one run of this program.
type bench struct {
	dir     string // material, results, caches
	earshot string // the program under test
	self    string // this program: its hidden modes do what is measured against
	engines []string
	rounds  int
	long    time.Duration
	size    int     // of the large clip, in MB
	hours   float64 // of the season
	sheet   sheet
	made    material
}

func run(ctx context.Context) error {
	b := &bench{}
	flag.StringVar(&b.dir, "dir", filepath.Join(os.TempDir(), "earshot-bench"), "`folder` for material and results, kept for the next run")
	parts := flag.String("parts", "start,pair,marry,disk,memory", "what to measure")
	engines := flag.String("engines", "native,embedded", "the engines to measure with")
	flag.IntVar(&b.rounds, "rounds", 2, "how often each is measured, all in turn; the median ratio counts")
	flag.DurationVar(&b.long, "long", 3*time.Hour, "length of the long recording")
	flag.IntVar(&b.size, "size", 1000, "size of the large clip in MB")
	profile := flag.String("profile", "", "instead: write a CPU profile of `pair or marry` in this process")
	base := flag.String("base", "", "the work that is measured against: decode, proxy, copy or wed (used by this program itself)")
	jobs := flag.Int("jobs", 1, "for -base: files at once")
	flag.Float64Var(&b.hours, "hours", seasonHours, "of sound in the season")
	season := flag.Float64("season", 0, "pair so many `hours` of a season (used by this program itself)")
	mode := flag.String("mode", seasonAll, "for -season: read, few or all")
	flag.Parse()
	if *season > 0 {
		return runSeason(ctx, b.dir, flag.Arg(0), *season, *mode)
	}
	b.engines = slices.DeleteFunc(strings.Split(*engines, ","), func(e string) bool {
		_, err := exec.LookPath("ffmpeg")
		return e == "native" && err != nil
	})
	if *base != "" {
		return runBase(ctx, *base, *jobs, b.engines[0], b.cache(b.engines[0]), flag.Args())
	}
	if err := b.prepare(ctx, *profile != "" || slices.ContainsFunc(strings.Split(*parts, ","), func(p string) bool { return p != "season" && p != "files" })); err != nil {
		return err
	}
	if *profile != "" {
		return b.profile(ctx, *profile)
	}
	todo := map[string]func(context.Context) error{
		"start": b.start, "pair": b.pair, "marry": b.marry, "disk": b.disk, "memory": b.memory, "season": b.season, "files": b.seasonFiles,
	}
	for _, p := range strings.Split(*parts, ",") {
		if todo[p] == nil {
			return fmt.Errorf("there is no part %q", p)
		}
		if err := todo[p](ctx); err != nil {
			return fmt.Errorf("%s: %w", p, err)
		}
	}
	b.sheet.end()
	return b.tidy()
}

// prepare builds the program and makes the material where it is wanted: a
// season has its own.
func (b *bench) prepare(ctx context.Context, material bool) (err error) {
	if b.dir, err = filepath.Abs(b.dir); err != nil {
		return err
	}
	if err := os.MkdirAll(b.dir, 0o777); err != nil {
		return err
	}
	if b.self, err = os.Executable(); err != nil {
		return err
	}
	b.earshot = filepath.Join(b.dir, "earshot")
	if runtime.GOOS == "windows" {
		b.earshot += ".exe"
	}
	build := exec.CommandContext(ctx, "go", "build", "-trimpath", "-buildvcs=false", "-ldflags", "-s -w", "-o", b.earshot, "earshot/cmd/earshot")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	build.Stderr = os.Stderr
	if err := build.Run(); err != nil {
		return fmt.Errorf("build the program: %w", err)
	}
	if material {
		if err := b.material(ctx); err != nil {
			return fmt.Errorf("make the material: %w", err)
		}
	}
	for _, e := range b.engines { // compiles the embedded engine, once
		if _, err := b.work(ctx, b.earshot, b.args(e, "doctor")...); err != nil {
			return err
		}
	}
	return nil
}

// tidy removes what the bases wrote.
func (b *bench) tidy() error {
	left, err := filepath.Glob(filepath.Join(b.dir, "base-*"))
	if err != nil {
		return err
	}
	for _, f := range left {
		if err := os.Remove(f); err != nil {
			return err
		}
	}
	return nil
}

// cache is an engine's own cache folder.
func (b *bench) cache(engine string) string { return filepath.Join(b.dir, "cache-"+engine) }

// forget empties the cache of what was derived from recordings; the engine
// stays compiled.
func (b *bench) forget(engine string) error {
	return os.RemoveAll(filepath.Join(b.cache(engine), "recordings"))
}

// args makes a command line of the program under test.
func (b *bench) args(engine string, args ...string) []string {
	return append(args, "--engine", engine, "--cache", b.cache(engine))
}

// A cost is what some work took, in seconds.
type cost struct {
	wall float64
	cpu  float64 // of the process and all it waited for
}

// work runs a command to its end. The program's status 3, unsure takes, is no
// failure.
func (b *bench) work(ctx context.Context, name string, args ...string) (cost, error) {
	cmd := exec.CommandContext(ctx, name, args...)
	var said strings.Builder
	cmd.Stderr = &said
	began := time.Now()
	err := cmd.Run()
	c := cost{wall: time.Since(began).Seconds()}
	var exit *exec.ExitError
	if errors.As(err, &exit) && name == b.earshot && exit.ExitCode() == 3 {
		err = nil
	}
	if err != nil {
		return c, fmt.Errorf("%s %s: %w\n%s", filepath.Base(name), strings.Join(args, " "), err, said.String())
	}
	c.cpu = (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds()
	return c, nil
}

// base runs one of this program's hidden modes.
func (b *bench) base(ctx context.Context, engine, mode string, jobs int, files ...string) (cost, error) {
	args := []string{"-base", mode, "-jobs", fmt.Sprint(jobs), "-dir", b.dir, "-engines", engine, "--"}
	return b.work(ctx, b.self, append(args, files...)...)
}
