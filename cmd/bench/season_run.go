package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"earshot/internal/app"
	"earshot/internal/shoot"
	"earshot/internal/store"
)

// A seasonRun is what one pairing of a part of a season came to.
type seasonRun struct {
	Sounds, Clips     int
	Reading, Matching float64 // seconds
	Pairs             int     // that there are
	Sure, Right       int     // of the takes: sure, and within 20 ms of the truth
	WrongSure         int
	CPU               float64 `json:"-"` // seconds, of the process
	Peak              float64 // MB, of the process
}

// newClips are the clips that come to a season later: one of ten has no sound.
func newClips(t int) bool { return t < 379 && t%40 == 3 && t != 363 || t == 379 }

// How a part of a season is paired.
const (
	seasonRead = "read" // only read
	seasonFew  = "few"  // without the clips that come later
	seasonAll  = "all"
)

// runSeason pairs the first hours of a season in this process and prints a
// seasonRun.
func runSeason(ctx context.Context, dir, cache string, hours float64, mode string) error {
	s, err := newSeason(dir)
	if err != nil {
		return err
	}
	r := seasonRun{Sounds: min(seasonSounds, int(math.Ceil(seasonSounds*hours/seasonHours)))}
	var paths, sounds []string
	clips := map[string]seasonClip{}
	for t, c := range s.clips[:r.Sounds*soundClips] {
		if mode == seasonAll || !newClips(t) {
			paths = append(paths, c.path)
			clips[c.path] = c
			if c.sound >= 0 {
				r.Pairs++
			}
		}
	}
	r.Clips = len(paths)
	number := map[string]int{}
	for k, d := range s.sounds[:r.Sounds] {
		sounds, number[d.path] = append(sounds, d.path), k
	}
	began := time.Now()
	read := began
	a := &app.App{Engine: s.engine(), Cache: store.Open(cache, 64<<30)}
	pair := func(paths []string) (*app.PairResult, error) {
		return a.Pair(ctx, app.PairOptions{Paths: paths, Progress: func(p app.Progress) {
			if p.Step == "reading" {
				read = time.Now()
			}
		}})
	}
	if mode == seasonRead { // where one side is missing there is nothing to match
		if _, err := pair(paths); err != nil {
			return err
		}
		_, err := pair(sounds)
		r.Reading = time.Since(began).Seconds()
		return errors.Join(err, r.tell())
	}
	res, err := pair(append(paths, sounds...))
	if err != nil {
		return err
	}
	r.Reading, r.Matching = read.Sub(began).Seconds(), time.Since(read).Seconds()
	for _, t := range res.Document.Takes {
		r.judge(t, clips[t.Clip], number[t.Sound])
	}
	return r.tell()
}

// tell prints a run, with the most memory that this process has held. It looks
// at itself: one that is watched from outside shares the cores with its watcher.
func (r *seasonRun) tell() error {
	r.Peak = kilobytes("/proc/self/status", "VmHWM:") * 1024 / 1e6
	return json.NewEncoder(os.Stdout).Encode(r)
}

func (r *seasonRun) judge(t shoot.Take, c seasonClip, sound int) {
	sure := t.Verdict == shoot.Sure
	right := sound == c.sound && math.Abs(t.Offset-c.offset) < 0.02
	if sure {
		r.Sure++
	}
	if right {
		r.Right++
	}
	if sure && !right {
		r.WrongSure++
	}
}

// seasonChild runs this program to pair a part of a season, on so many cores.
func (b *bench) seasonChild(ctx context.Context, cache string, hours float64, mode string, cores int) (r seasonRun, err error) {
	cmd := exec.CommandContext(ctx, b.self, "-season", fmt.Sprint(hours), "-dir", filepath.Join(b.dir, "season"),
		"-mode", mode, "--", cache)
	cmd.Env = append(os.Environ(), fmt.Sprintf("GOMAXPROCS=%d", cores))
	var out, said strings.Builder
	cmd.Stdout, cmd.Stderr = &out, &said
	if err := cmd.Run(); err != nil {
		return r, fmt.Errorf("%w\n%s", err, said.String())
	}
	err = json.Unmarshal([]byte(out.String()), &r)
	r.CPU = (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds()
	return r, err
}

// What is required of a season.
const (
	mostSeasonMemory = 500  // MB
	mostNewClips     = 2.0  // seconds for ten new clips, beside reading them
	mostSteeper      = 1.5  // CPU time an hour of sound, over that of a tenth of the hours
	mostHalf         = 0.59 // time with two cores over time with one: 1.7 times as fast
)

// season measures pairing a season's shoot: how its cost grows, what the second
// core is good for, and what ten new clips cost. Nothing is decoded for it; the
// recordings come from the simulator.
func (b *bench) season(ctx context.Context) error {
	cache := filepath.Join(b.dir, "season-cache")
	b.sheet.head(fmt.Sprintf("a season, up to %.0f hours: the first run, all read", b.hours))
	if _, err := b.seasonChild(ctx, cache, b.hours, seasonRead, 2); err != nil {
		return err
	}
	fmt.Println("  hours  clips  sounds  matching s  CPU s  CPU s an hour  peak MB  pairs  right  sure  wrong sure")
	perHour := 0.0
	for _, hours := range []float64{10, 30, 60, seasonHours} {
		if hours > b.hours {
			break
		}
		if err := forgetLinks(cache); err != nil {
			return err
		}
		r, err := b.seasonChild(ctx, cache, hours, seasonFew, 2)
		if err != nil {
			return err
		}
		fmt.Printf("  %5.0f  %5d  %6d  %10.1f  %5.0f  %13.2f  %7.0f  %5d  %5d  %4d  %10d\n", hours, r.Clips, r.Sounds, r.Matching,
			r.CPU, r.CPU/hours, r.Peak, r.Pairs, r.Right, r.Sure, r.WrongSure)
		b.sheet.figure("", fmt.Sprintf("%.0f hours: peak memory", hours), r.Peak, mostSeasonMemory, "MB")
		if perHour == 0 {
			perHour = r.CPU / hours
		}
		b.sheet.figure("", fmt.Sprintf("%.0f hours: CPU time an hour, over that of 10 hours", hours), r.CPU/hours/perHour, mostSteeper, "")
	}
	return errors.Join(b.seasonAgain(ctx, cache), b.seasonCores(ctx, cache))
}

// seasonAgain adds ten clips to a season that is known, in each round to what was
// known before.
func (b *bench) seasonAgain(ctx context.Context, cache string) error {
	b.sheet.head("a season: ten new clips")
	known, err := readLinks(cache)
	if err != nil {
		return err
	}
	var reading, matching, cpu []float64
	for range b.rounds {
		if err := errors.Join(forgetLinks(cache), known.write()); err != nil {
			return err
		}
		r, err := b.seasonChild(ctx, cache, b.hours, seasonAll, 2)
		if err != nil {
			return err
		}
		reading, matching, cpu = append(reading, r.Reading), append(matching, r.Matching), append(cpu, r.CPU)
	}
	b.sheet.rounds("", "reading them, and what is known of the others", reading, 0, "s")
	b.sheet.rounds("", "all the rest", matching, mostNewClips, "s")
	b.sheet.rounds("", "CPU time of it all", cpu, 0, "s")
	r, err := b.seasonChild(ctx, cache, b.hours, seasonAll, 2)
	if err != nil {
		return err
	}
	b.sheet.figure("", "nothing new: all of it", r.Reading+r.Matching, 0, "s")
	return nil
}

// seasonCores compares one core with two.
func (b *bench) seasonCores(ctx context.Context, cache string) error {
	b.sheet.head("a season: one core and two")
	const read, match = 5, 20 // hours
	var reading, matching [2][]cost
	for range b.rounds {
		for i := range 2 {
			scratch := cache + "-scratch"
			r, err := b.seasonChild(ctx, scratch, read, seasonRead, i+1)
			if err != nil {
				return err
			}
			reading[i] = append(reading[i], cost{r.Reading, r.CPU})
			if err := errors.Join(os.RemoveAll(scratch), forgetLinks(cache)); err != nil {
				return err
			}
			if r, err = b.seasonChild(ctx, cache, min(match, b.hours), seasonFew, i+1); err != nil {
				return err
			}
			matching[i] = append(matching[i], cost{r.Matching, r.CPU})
		}
	}
	b.sheet.ratio("", "reading, two cores / one", reading[1], reading[0], mostHalf)
	b.sheet.ratio("", "matching, two cores / one", matching[1], matching[0], mostHalf)
	return nil
}

// links is what is known of clips and sounds together, by path.
type links map[string][]byte

// linkFiles are the paths of what is known of clips and sounds together.
func linkFiles(cache string) ([]string, error) {
	return filepath.Glob(filepath.Join(cache, "recordings", "*", "*", "*", "links-*"))
}

func readLinks(cache string) (links, error) {
	files, err := linkFiles(cache)
	if err != nil {
		return nil, err
	}
	known := links{}
	for _, f := range files {
		if known[f], err = os.ReadFile(f); err != nil {
			return nil, err
		}
	}
	return known, nil
}

func (l links) write() error {
	for path, content := range l {
		if err := os.WriteFile(path, content, 0o600); err != nil {
			return err
		}
	}
	return nil
}

// forgetLinks removes what is known of clips and sounds together.
func forgetLinks(cache string) error {
	files, err := linkFiles(cache)
	if err != nil {
		return err
	}
	for _, f := range files {
		if err := os.Remove(f); err != nil {
			return err
		}
	}
	return nil
}
