//go:build unix

package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"earshot/internal/media/ffmpeg"
	"earshot/internal/scene"
	"earshot/internal/web/webtest"
)

// TestScreens makes the pictures of every screen that stand in docs/screens, in
// both themes and at three widths. They are for looking at, so it checks only
// that each screen is reached and gets all it asks for:
//
//	EARSHOT_SCREENS=docs/screens go test ./cmd/earshot -run TestScreens
func TestScreens(t *testing.T) {
	to := os.Getenv("EARSHOT_SCREENS")
	if to == "" {
		t.Skip("EARSHOT_SCREENS names no folder for the pictures")
	}
	b := webtest.Browser(t)
	folder := filepath.Join(t.TempDir(), "the lesson")
	d := startDesk(t, folder)
	home := homeOf(d)
	writeHarder(t, filepath.Join(home, "cards"))
	s := &screens{page: openPage(t, b, 1000, 800, d.url), places: []string{home, filepath.Dir(folder)}, to: filepath.Join("..", "..", to)}
	if filepath.IsAbs(to) {
		s.to = to
	}

	s.JS(counted, nil)
	s.shoot("empty")
	s.Press("Add folders")
	s.Until("the places are listed", `find('Home')`)
	s.Press("Home")
	s.Until("folders are listed", `find('cards')`)
	s.Press("cards")
	s.Until("the shoot's folders are listed", `find('CARD')`)
	s.shoot("folder")
	s.Press("Add this folder")
	s.Until("something was read", `await fetch('/api/state').then((r) => r.json()).then((s) => s.work.busy && s.recordings.some((r) => r.state === 'reading') && s.recordings.some((r) => r.state === 'read'))`)
	s.held(d, func() { s.shoot("work") })
	s.Until("the shoot is measured", `await fetch('/api/state').then((r) => r.json()).then((s) => !s.work.busy && s.takes.length === 5)`)
	s.goTo("")
	s.Until("all tiles are drawn", drawn)
	s.shoot("wall")
	s.goTo("day")
	s.Until("the day is drawn", drawn)
	s.shoot("day", "0")
	s.takes()
	s.finish()
	var failed []string
	if s.JS(`window.failed`, &failed); len(failed) > 0 {
		t.Errorf("in vain the page asked for %q", failed)
	}
}

// screens takes pictures of a page.
type screens struct {
	*page
	places []string // of the test, which nobody else has
	to     string
}

// homeOf is the home of the person whom the program serves.
func homeOf(d *deskRun) (home string) {
	for _, set := range d.cmd.Env {
		if path, ok := strings.CutPrefix(set, "HOME="); ok {
			home = path
		}
	}
	return home
}

// takes looks at one take from afar and near, moved, and at one that is unsure.
func (s *screens) takes() {
	ids := map[string]string{}
	for _, k := range s.state().Takes {
		for _, r := range s.state().Recordings {
			if r.ID == k.ID {
				ids[r.Name] = k.ID
			}
		}
		if k.Verdict == "unsure" {
			ids["unsure"] = k.ID
		}
	}
	if ids["unsure"] == "" {
		s.T.Errorf("no take is unsure: %+v", s.state().Takes)
	}
	s.goTo("take/" + ids["C0010.MP4"])
	s.Until("the take is drawn", drawn+` && /windows along/.test(document.querySelector('#main').innerText)`)
	s.Keys("c")
	s.shoot("take")
	s.shootAs("readme.webp", 1200, 860, "light")
	for _, near := range []struct{ key, name string }{{"7", "take-10s"}, {"8", "take-100ms"}, {"9", "take-2ms"}} {
		s.Keys(near.key)
		s.shoot(near.name)
	}
	s.Keys("8", ".", ".", ".", ".", ".", ".")
	s.Until("it is moved", `await fetch('/api/state').then((r) => r.json()).then((s) => s.takes.some((t) => t.moved_ms > 5))`)
	s.shoot("take-moved")
	s.Keys("r")
	s.Until("it is back", `await fetch('/api/state').then((r) => r.json()).then((s) => s.takes.every((t) => t.moved_ms === 0))`)
	s.Keys("0", "Home")
	s.Keys("?")
	s.shoot("keys")
	s.Keys("Escape")
	s.goTo("take/" + ids["unsure"])
	s.Until("the unsure take is drawn", drawn+` && /Unsure.*Clap at/s.test(document.querySelector('#main').innerText)`)
	s.Keys("c")
	s.shoot("take-unsure")
}

// finish marries what is sure.
func (s *screens) finish() {
	s.goTo("done")
	s.Press("Marry 4 takes")
	s.Until("all is written", `await fetch('/api/state').then((r) => r.json()).then((s) => !s.marriage.busy && s.marriage.clips.filter((c) => c.state === 'written').length === 4)`)
	s.Until("the page says so", `/in sync/.test(document.querySelector('#main').innerText)`)
	s.shoot("done")
}

func (s *screens) goTo(place string) {
	s.JS(`void (location.hash = '#/`+place+`')`, nil)
	s.Until("it is there", `location.hash === '#/`+place+`' && document.querySelector('#main > *')`)
}

// held runs fn while the program stands still, so that what passes stays.
func (s *screens) held(d *deskRun, fn func()) {
	if err := d.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
		s.T.Fatalf("hold the program: %v", err)
	}
	defer d.cmd.Process.Signal(syscall.SIGCONT)
	fn()
}

// counted lets the page count what it has asked for and not got yet, but for
// streams, which stay open, and what was refused.
const counted = `void (() => {
	const fetch = window.fetch
	window.asked = 0
	window.failed = []
	new PerformanceObserver((l) => l.getEntries().forEach((e) => e.responseStatus >= 400 && window.failed.push(e.name + ' ' + e.initiatorType + ' ' + location.hash))).observe({type: 'resource'})
	window.fetch = async (...what) => {
		const counts = /peaks|samples|mirror|still|strip|takes\/[^/]+$/.test(String(what[0]))
		window.asked += counts
		try {
			const got = await fetch(...what)
			if (counts) await got.clone().arrayBuffer()
			return got
		} finally {
			window.asked -= counts
		}
	}
})()`

// shoot takes the pictures of what is shown, with keys pressed for each. A take at
// night and by day is the same take, so the page is not loaded anew.
func (s *screens) shoot(name string, keys ...string) {
	s.T.Helper()
	for _, size := range [][2]int64{{1600, 900}, {1000, 800}, {320, 720}} {
		for _, theme := range []string{"light", "dark"} {
			s.shootAs(fmt.Sprintf("%s-%s-%d.webp", name, theme, size[0]), size[0], size[1], theme, keys...)
		}
	}
}

// shootAs takes one picture. While the program is held, for "work", nothing that
// was asked for comes.
func (s *screens) shootAs(name string, width, height int64, theme string, keys ...string) {
	s.T.Helper()
	s.Do("make the window", chromedp.EmulateViewport(width, height))
	s.Keys(keys...)
	s.JS(`(document.documentElement.dataset.theme = '`+theme+`', window.dispatchEvent(new Event('theme')))`, nil)
	s.JS(`document.querySelector('#said').replaceChildren()`, nil)
	s.JS(`new Promise((r) => setTimeout(() => requestAnimationFrame(() => requestAnimationFrame(r)), 400))`, nil)
	if !strings.HasPrefix(name, "work") {
		s.Until("all it asked for is there", `window.asked === 0 && [...document.images].every((i) => i.complete) && (await new Promise((r) => setTimeout(r, 250)), window.asked === 0)`)
	}
	s.neat()
	s.keep(name)
}

// neat shows a folder as anybody may have one in the place of the test's own.
func (s *screens) neat() {
	own, _ := json.Marshal(s.places)
	s.JS(`(() => {
		const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT)
		while (texts.nextNode()) for (const own of `+string(own)+`) if (texts.currentNode.data.includes(own)) texts.currentNode.data = texts.currentNode.data.replaceAll(own, '/films')
	})()`, nil)
}

func (s *screens) keep(name string) {
	s.T.Helper()
	s.Do("take a picture", chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		quality := int64(72)
		got, err := cdp.Call(ctx, t, cdppage.CaptureScreenshot, cdppage.CaptureScreenshotParams{Format: cdppage.CaptureScreenshotFormatWebp, Quality: &quality})
		if err != nil {
			return err
		}
		return os.WriteFile(filepath.Join(s.to, name), got.Data, 0o644)
	}))
}

// writeHarder writes the try-it shoot with one clip more: somebody claps once
// and says nothing, and one clap is like another.
func writeHarder(t *testing.T, dir string) {
	t.Helper()
	s, err := scene.Demo()
	if err != nil {
		t.Fatal(err)
	}
	last := s.Clips[len(s.Clips)-1]
	clip := s.Clips[0]
	clip.Name, clip.Length, clip.Seed, clip.Noise, clip.SNR = "CARD/C0012.MP4", 8, 731, scene.Quiet, 30
	clip.Clock.Start = last.Clock.World(last.Length) + 40
	hands := slices.IndexFunc(s.Talk, func(u scene.Utterance) bool { return u.Clap })
	s.Talk = append(s.Talk, scene.ClapAt(clip.Clock.World(s.Clips[0].Clock.Own(s.Talk[hands].Onset())), 91, 0))
	film := *clip.Film
	film.Draw = func(n int, picture []byte) { clip.Film.Draw(min(n, 48), picture) } // before the first word
	s.Clips = append(s.Clips, clip)
	s.Clips[len(s.Clips)-1].Film = &film
	sound := s.Sounds[0]
	sound.Name, sound.Length, sound.Seed = "PHONE/rec_20260114_102731.m4a", 14, 831
	sound.Clock.Start = clip.Clock.Start - 2.4
	s.Sounds = append(s.Sounds, sound)

	engine, err := ffmpeg.Open(ffmpeg.Options{CacheDir: kept(t)})
	if err != nil {
		t.Fatal(err)
	}
	defer engine.Close()
	if _, err := scene.Write(t.Context(), engine, dir, s, nil); err != nil {
		t.Fatal(err)
	}
}
