// Yardstick measures how well takes are found and lined up: it makes shoots
// with known truth, writes them as files, pairs them as the program would, and
// prints a table. It serves those who work on Earshot; the figures of
// docs/accuracy.md come from it.
//
//	go run ./cmd/yardstick -seeds 101-130 -sound m4a
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"strings"

	"earshot/internal/app"
	"earshot/internal/media/ffmpeg"
	"earshot/internal/scene"
	"earshot/internal/store"
)

func main() {
	if handled, status := ffmpeg.ChildMain(os.Args); handled {
		os.Exit(status)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "yardstick:", err)
		os.Exit(1)
	}
}

// A setup is what to measure.
type setup struct {
	first, last uint64
	sound       string
	rate        int
	engine      string
	opt         scene.Options
	verbose     bool
}

func run(ctx context.Context) error {
	var s setup
	seeds := flag.String("seeds", "101-104", "the seeds of the shoots, `first-last`")
	flag.StringVar(&s.sound, "sound", "wav", "the recorder's format: wav, m4a, mp3, flac or opus")
	flag.IntVar(&s.rate, "rate", 48000, "the recorder's rate in Hz")
	flag.StringVar(&s.engine, "engine", "auto", "auto, embedded or native")
	flag.Float64Var(&s.opt.SNR[0], "snr-from", 0, "least signal-to-noise ratio at the camera, dB")
	flag.Float64Var(&s.opt.SNR[1], "snr-to", 25, "greatest, dB")
	flag.BoolVar(&s.opt.Boxes, "boxes", false, "simulated rooms only")
	flag.IntVar(&s.opt.MaxTakes, "takes", 8, "most takes of a shoot")
	flag.BoolVar(&s.verbose, "v", false, "a line for every take")
	flag.Parse()
	if _, err := fmt.Sscanf(*seeds, "%d-%d", &s.first, &s.last); err != nil {
		return fmt.Errorf("read -seeds %q: %w", *seeds, err)
	}
	s.opt.Names = func(n int, clip bool) string {
		if clip {
			return fmt.Sprintf("CARD/C%04d.MP4", n)
		}
		return fmt.Sprintf("MIC/%04d.%s", n, s.sound)
	}
	dir, err := os.MkdirTemp("", "yardstick-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	cache, err := store.DefaultDir()
	if err != nil {
		return err
	}
	engine, err := ffmpeg.Open(ffmpeg.Options{Choice: s.engine, CacheDir: cache})
	if err != nil {
		return err
	}
	defer engine.Close()
	a := &app.App{Engine: engine, Cache: store.Open(filepath.Join(dir, "cache"), 1<<40)}
	var t tally
	for seed := s.first; seed <= s.last && ctx.Err() == nil; seed++ {
		if err := s.shoot(ctx, a, filepath.Join(dir, fmt.Sprint(seed)), seed, &t); err != nil {
			return fmt.Errorf("shoot %d: %w", seed, err)
		}
	}
	t.print(os.Stdout, strings.ToUpper(s.sound))
	return ctx.Err()
}

// shoot makes one shoot, pairs it and enters the outcome.
func (s *setup) shoot(ctx context.Context, a *app.App, dir string, seed uint64, t *tally) error {
	sc, err := scene.RandomShoot(seed, s.opt)
	if err != nil {
		return err
	}
	for i := range sc.Sounds {
		sc.Sounds[i].Rate = s.rate
	}
	written, err := scene.Write(ctx, a.Engine, dir, sc, nil)
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	result, err := a.Pair(ctx, app.PairOptions{Paths: []string{dir}})
	if err != nil {
		return err
	}
	before := len(t.lines)
	t.enter(seed, sc, written, &result.Document)
	if s.verbose {
		for _, l := range t.lines[before:] {
			fmt.Println(l)
		}
	}
	fmt.Fprintf(os.Stderr, "shoot %d: %d clips, %d sounds, %d takes\n", seed, len(sc.Clips), len(sc.Sounds), len(result.Document.Takes))
	return nil
}
