// Yardstick measures how well takes are found and lined up: it makes shoots
// with known truth, writes them as files, pairs them as the program would, and
// prints a table. It serves those who work on Earshot; the figures of
// docs/accuracy.md come from it.
//
//	go run ./cmd/yardstick -seeds 101-130 -sound m4a
//
// With -merge all shoots are paired as one heap, so that every clip meets the
// sounds of all other shoots: the same voices and rooms, other words.
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
	merge       bool
	said        map[string]int // how often each phrase was said in merged shoots
}

func run(ctx context.Context) error {
	s := setup{said: map[string]int{}}
	seeds := flag.String("seeds", "101-104", "the seeds of the shoots, `first-last`")
	flag.StringVar(&s.sound, "sound", "wav", "the recorder's format: wav, m4a, mp3, flac or opus")
	flag.IntVar(&s.rate, "rate", 48000, "the recorder's rate in Hz")
	flag.StringVar(&s.engine, "engine", "auto", "auto, embedded or native")
	flag.Float64Var(&s.opt.SNR[0], "snr-from", 0, "least signal-to-noise ratio at the camera, dB")
	flag.Float64Var(&s.opt.SNR[1], "snr-to", 25, "greatest, dB")
	flag.BoolVar(&s.opt.Boxes, "boxes", false, "simulated rooms only")
	flag.BoolVar(&s.opt.Measured, "measured", false, "measured rooms only")
	flag.IntVar(&s.opt.MaxTakes, "takes", 8, "most takes of a shoot")
	flag.Float64Var(&s.opt.MaxTake, "longest", 480, "longest take, seconds")
	flag.BoolVar(&s.merge, "merge", false, "pair all shoots as one heap")
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
	t := tally{rooms: map[string][]float64{}}
	if err := s.measure(ctx, a, dir, &t); err != nil {
		return err
	}
	t.print(os.Stdout, strings.ToUpper(s.sound))
	return ctx.Err()
}

// A day is a shoot on disk.
type day struct {
	seed    uint64
	scene   *scene.Scene
	written *scene.Written
}

// measure makes the shoots and enters the outcomes of pairing them, one by one
// or all at once.
func (s *setup) measure(ctx context.Context, a *app.App, dir string, t *tally) error {
	var days []day
	for seed := s.first; seed <= s.last && ctx.Err() == nil; seed++ {
		d, err := s.shoot(ctx, a, filepath.Join(dir, fmt.Sprint(seed)), seed)
		if err != nil {
			return fmt.Errorf("shoot %d: %w", seed, err)
		}
		days = append(days, d)
		fmt.Fprintf(os.Stderr, "shoot %d: %d clips, %d sounds\n", seed, len(d.scene.Clips), len(d.scene.Sounds))
		if s.merge {
			continue
		}
		if err := s.pair(ctx, a, filepath.Join(dir, fmt.Sprint(seed)), days, t); err != nil {
			return err
		}
		days = nil
		os.RemoveAll(filepath.Join(dir, fmt.Sprint(seed)))
	}
	if s.merge {
		return s.pair(ctx, a, dir, days, t)
	}
	return ctx.Err()
}

// shoot makes one shoot's files.
func (s *setup) shoot(ctx context.Context, a *app.App, dir string, seed uint64) (day, error) {
	sc, err := scene.RandomShoot(seed, s.opt)
	if err != nil {
		return day{}, err
	}
	for i := range sc.Sounds {
		sc.Sounds[i].Rate = s.rate
	}
	if s.merge {
		if err := s.another(sc, seed); err != nil {
			return day{}, err
		}
	}
	written, err := scene.Write(ctx, a.Engine, dir, sc, nil)
	return day{seed, sc, written}, err
}

// When shoots are merged, talk is played at one of slots speeds from slotFrom
// on, slotStep apart, forwards or backwards.
const (
	slots    = 127 // a prime: slotHop goes through all of them
	slotHop  = 47
	slotFrom = 0.79
	slotStep = 0.0033
)

// another makes a shoot's talk words of its own. All shoots draw on the same
// recorded phrases, and one recording played twice is one moment to anyone's
// ears. So a shoot jumbles the syllables of each phrase in its own way, and
// each time that the phrase is said, in whatever shoot, it is played at a speed
// of its own or backwards: the same voice saying something else.
func (s *setup) another(sc *scene.Scene, seed uint64) error {
	jumbled := map[*scene.Excerpt][2]*scene.Excerpt{}
	for i := range sc.Talk {
		u := &sc.Talk[i]
		if u.Clap {
			continue
		}
		n := s.said[u.Excerpt.Name]
		if n == 2*slots {
			return fmt.Errorf("%q is said more than %d times: merge fewer shoots", u.Excerpt.Name, n)
		}
		s.said[u.Excerpt.Name]++
		if _, ok := jumbled[u.Excerpt]; !ok {
			j := scene.Jumbled(u.Excerpt, seed)
			jumbled[u.Excerpt] = [2]*scene.Excerpt{j, scene.Reversed(j)}
		}
		u.Speed = slotFrom + slotStep*float64(n/2*slotHop%slots)
		u.Excerpt = jumbled[u.Excerpt][n%2]
	}
	return nil
}

// pair pairs what lies in dir and holds it against the truth of days.
func (s *setup) pair(ctx context.Context, a *app.App, dir string, days []day, t *tally) error {
	paths := []string{dir}
	if s.merge { // not the cache beside them
		paths = nil
		for _, d := range days {
			paths = append(paths, filepath.Join(dir, fmt.Sprint(d.seed)))
		}
	}
	result, err := a.Pair(ctx, app.PairOptions{Paths: paths})
	if err != nil {
		return err
	}
	before := len(t.lines)
	takes := takesOf(&result.Document)
	clips, sounds := 0, 0
	for _, d := range days {
		t.enter(d, takes, result.Document.Alone)
		clips, sounds = clips+len(d.scene.Clips), sounds+len(d.scene.Sounds)
	}
	for _, take := range takes { // of clips and sounds of two shoots
		t.stranger(0, take)
	}
	t.met += clips * sounds
	if s.verbose {
		for _, l := range t.lines[before:] {
			fmt.Println(l)
		}
	}
	return nil
}
