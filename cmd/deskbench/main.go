// Deskbench measures what the desk's page is like under a hand: how soon a wave
// and the wall are seen, how evenly frames come while one zooms, pans and
// scrolls, what memory the page holds; each beside what is required of it. It
// runs the real program with the native engine and a headless Chromium, and
// serves those who work on Earshot.
//
//	go run ./cmd/deskbench
//	go run ./cmd/deskbench -parts take -seconds 5
//
// The material, one take of an hour and a shoot of a thousand, is made once with
// a native ffmpeg and kept in a folder, with what the program measured of it.
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
	"strings"
	"time"

	"earshot/internal/web/webtest"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "deskbench:", err)
		os.Exit(1)
	}
}

// A bench is one run of this program.
type bench struct {
	rig
	made    material
	long    time.Duration // of each movement
	profile string        // where a profile of the movements is written, "" nowhere
	sheet   sheet
	browser webtest.Chromium
}

func run(ctx context.Context) (err error) {
	b := &bench{}
	flag.StringVar(&b.dir, "dir", filepath.Join(os.TempDir(), "earshot-deskbench"), "`folder` for material and results, kept for the next run")
	flag.StringVar(&b.earshot, "earshot", "", "the `program` to measure; built when not given")
	parts := flag.String("parts", "take,wall", "what to measure")
	seconds := flag.Float64("seconds", 10, "how long each movement goes on")
	flag.StringVar(&b.profile, "profile", "", "write a CPU profile of the page's movements to this `file`; it costs some of what is measured")
	flag.Parse()
	b.long = time.Duration(*seconds * float64(time.Second))
	if b.dir, err = filepath.Abs(b.dir); err != nil {
		return err
	}
	if b.made, err = makeMaterial(ctx, b.dir); err != nil {
		return fmt.Errorf("make the material: %w", err)
	}
	if b.earshot == "" {
		b.earshot = filepath.Join(b.dir, "earshot")
		build := exec.CommandContext(ctx, "go", "build", "-o", b.earshot, "earshot/cmd/earshot")
		build.Env, build.Stderr = append(os.Environ(), "CGO_ENABLED=0"), os.Stderr
		if err := build.Run(); err != nil {
			return fmt.Errorf("build the program: %w", err)
		}
	}
	defer b.end()
	b.browser = webtest.Browser(b)
	for _, part := range strings.Split(*parts, ",") {
		switch part {
		case "take":
			err = b.take(ctx)
		case "wall":
			err = b.wall(ctx)
		default:
			err = fmt.Errorf("there is no part %q", part)
		}
		if err != nil {
			return err
		}
	}
	if b.sheet.end(); b.sheet.missed > 0 {
		return errors.New("not all is met")
	}
	return nil
}
