package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"time"

	"earshot/internal/shoot"
)

// What is required.
const (
	mostPair   = 1.5  // pairing over decoding
	mostAgain  = 0.05 // pairing again over pairing
	mostMarry  = 1.3  // marrying over copying and encoding, or over copying a large clip
	diskRules  = 300  // MB a second: under it, copying is most of the work
	mostMemory = 400  // MB
	mostGrowth = 1.1  // memory with a long recording over memory with a short one
	mostStart  = 50   // ms to the end of --help
)

// A race runs works in turn, round after round, and keeps their costs.
type race struct {
	rounds int
	costs  map[string][]cost
}

func (b *bench) race(works []string, do func(work string) (cost, error)) (*race, error) {
	r := &race{b.rounds, map[string][]cost{}}
	for range b.rounds {
		for _, w := range works {
			c, err := do(w)
			if err != nil {
				return nil, err
			}
			r.costs[w] = append(r.costs[w], c)
		}
	}
	return r, nil
}

// start measures how soon the program speaks.
func (b *bench) start(ctx context.Context) error {
	b.sheet.head("starting")
	ms := make([]float64, 20)
	for i := range ms {
		began := time.Now()
		if err := exec.CommandContext(ctx, b.earshot, "--help").Run(); err != nil {
			return err
		}
		ms[i] = time.Since(began).Seconds() * 1e3
	}
	b.sheet.figure("", "earshot --help, the fastest of 20", slices.Min(ms), mostStart, "ms")
	b.sheet.figure("", "earshot --help, the median of 20", median(ms), mostStart, "ms")
	info, err := os.Stat(b.earshot)
	if err != nil {
		return err
	}
	b.sheet.figure("", "size of the program", float64(info.Size())/1e6, 0, "MB")
	return nil
}

// pair measures pairing, with nothing known of the recordings and again.
func (b *bench) pair(ctx context.Context) error {
	b.sheet.head(fmt.Sprintf("pairing %d clips and %d sounds", len(b.made.clips), len(b.made.sounds)))
	files := append(append([]string{}, b.made.clips...), b.made.sounds...)
	cores := runtime.NumCPU()
	for _, e := range b.engines {
		works := []string{"one", "first", "again", "cores"}
		if e == "native" {
			works = append(works, "bare")
		}
		r, err := b.race(works, func(work string) (c cost, err error) {
			switch work {
			case "one":
				return b.base(ctx, e, "decode", 1, files...)
			case "cores":
				return b.base(ctx, e, "decode", cores, files...)
			case "bare":
				return b.bare(ctx, files)
			case "first":
				if err := b.forget(e); err != nil {
					return c, err
				}
			}
			return b.work(ctx, b.earshot, b.args(e, "pair", b.made.shoot)...)
		})
		if err != nil {
			return err
		}
		c := r.costs
		b.sheet.ratio(e, "first run / decoding, one file after another", c["first"], c["one"], mostPair)
		b.sheet.ratio(e, fmt.Sprintf("first run / decoding, %d files at once", cores), c["first"], c["cores"], mostPair)
		if e == "native" {
			b.sheet.ratio(e, "first run / plain ffmpeg to nowhere, one file after another", c["first"], c["bare"], 0)
		}
		b.sheet.ratio(e, "second run / first run", c["again"], c["first"], mostAgain)
	}
	return nil
}

// bare decodes with plain ffmpeg, one file after another.
func (b *bench) bare(ctx context.Context, files []string) (sum cost, err error) {
	for _, f := range files {
		c, err := b.work(ctx, "ffmpeg", "-v", "error", "-nostdin", "-i", f, "-vn", "-f", "null", "-")
		if err != nil {
			return sum, err
		}
		sum.wall, sum.cpu = sum.wall+c.wall, sum.cpu+c.cpu
	}
	return sum, nil
}

// marry measures marrying a shoot.
func (b *bench) marry(ctx context.Context) error {
	cores := runtime.NumCPU()
	for i, e := range b.engines {
		clips, err := b.sure(ctx, e)
		if err != nil {
			return err
		}
		if i == 0 {
			b.sheet.head(fmt.Sprintf("marrying %d of %d clips, sound as PCM", len(clips), len(b.made.clips)))
		}
		r, err := b.race([]string{"one", "known", "cores", "whole"}, func(work string) (cost, error) {
			switch work {
			case "one":
				return b.base(ctx, e, "wed", 1, clips...)
			case "cores":
				return b.base(ctx, e, "wed", cores, clips...)
			}
			return b.married(ctx, e, b.made.shoot, work == "whole")
		})
		if err != nil {
			return err
		}
		c := r.costs
		b.sheet.ratio(e, "pairing known / copying + encoding AAC, one clip after another", c["known"], c["one"], mostMarry)
		b.sheet.ratio(e, fmt.Sprintf("pairing known / copying + encoding AAC, %d clips at once", cores), c["known"], c["cores"], 0)
		b.sheet.ratio(e, "with pairing / copying + encoding AAC, one clip after another", c["whole"], c["one"], 0)
	}
	return nil
}

// married marries a folder; anew forgets its recordings first.
func (b *bench) married(ctx context.Context, engine, folder string, anew bool) (c cost, err error) {
	to := filepath.Join(b.dir, "married")
	if err := os.RemoveAll(to); err != nil {
		return c, err
	}
	if anew {
		if err := b.forget(engine); err != nil {
			return c, err
		}
	}
	defer os.RemoveAll(to)
	return b.work(ctx, b.earshot, b.args(engine, "marry", folder, "--to", to)...)
}

// sure pairs the shoot and returns the clips that have a sure take.
func (b *bench) sure(ctx context.Context, engine string) ([]string, error) {
	out, err := exec.CommandContext(ctx, b.earshot, b.args(engine, "pair", "--json", b.made.shoot)...).Output()
	var doc shoot.Document
	if e := json.Unmarshal(out, &doc); e != nil {
		return nil, fmt.Errorf("pair: %v, %w", err, e)
	}
	var clips []string
	for _, t := range doc.Takes {
		if t.Verdict == shoot.Sure && !slices.Contains(clips, t.Clip) {
			clips = append(clips, t.Clip)
		}
	}
	if len(clips) == 0 {
		return nil, fmt.Errorf("no take of the material is sure")
	}
	return clips, nil
}

// disk measures marrying one clip so large that copying it is most of the work.
func (b *bench) disk(ctx context.Context) error {
	clip := filepath.Join(b.made.large, "CARD", "LARGE.MP4")
	info, err := os.Stat(clip)
	if err != nil {
		return err
	}
	b.sheet.head(fmt.Sprintf("marrying one clip of %d MB, sound as PCM (asked of disks under %d MB a second, which are the slower part)", info.Size()/1e6, diskRules))
	for _, e := range b.engines {
		if _, err := b.work(ctx, b.earshot, b.args(e, "pair", b.made.large)...); err != nil {
			return err
		}
		r, err := b.race([]string{"copy", "known", "whole"}, func(work string) (cost, error) {
			if work == "copy" {
				return b.base(ctx, e, "copy", 1, clip)
			}
			return b.married(ctx, e, b.made.large, work == "whole")
		})
		if err != nil {
			return err
		}
		var seconds []float64
		for _, c := range r.costs["copy"] {
			seconds = append(seconds, c.wall)
		}
		speed, most := float64(info.Size())/1e6/median(seconds), 0.0
		if speed < diskRules {
			most = mostMarry
		}
		b.sheet.figure(e, "this disk, copying", speed, 0, "MB a second")
		b.sheet.ratio(e, "pairing known / copying", r.costs["known"], r.costs["copy"], most)
		b.sheet.ratio(e, "with pairing / copying", r.costs["whole"], r.costs["copy"], 0)
	}
	return nil
}
