package main

import (
	"regexp"
	"testing"

	"earshot/internal/web/webtest"
)

var inSync = regexp.MustCompile(`written; in sync`)

// The desk in Firefox, another engine than Chromium's: from an empty desk over a
// take that is drawn, moved and approved, to clips that are proven.
func TestFirefox(t *testing.T) {
	d := startDesk(t, t.TempDir())
	f := webtest.Firefox(t, 1280, 900, d.url, false)
	openTakeIn(f)
	var id string
	f.JS(`decodeURIComponent(location.hash.slice(7))`, &id)
	is := func(what string) string {
		return `await fetch('/api/state').then((r) => r.json()).then((s) => s.takes.find((t) => t.id === '` + id + `').` + what + `)`
	}

	f.Keys(".", ".")
	f.Until("it is moved by two steps", is(`moved_ms`)+` > 1.99`)
	f.Until("the page says so", `/ms later than measured/.test(document.querySelector('.ghost').innerText)`)
	f.Keys("r")
	f.Until("it is back", is(`moved_ms === 0`))
	f.Keys("a")
	f.Until("it is approved", is(`word.approved`))
	f.Keys("f")
	f.Press("Marry 4 takes")
	f.Until("all is written and shown", `!document.querySelector('progress:not([hidden])') && document.querySelectorAll('.finished li').length === 4`)
	f.Look("done")
	var said []string
	f.JS(`[...document.querySelectorAll('.finished li')].map((e) => e.innerText)`, &said)
	for _, text := range said {
		if !inSync.MatchString(text) {
			t.Errorf("a finished clip is shown as %q", text)
		}
	}
	f.Clean()
}

// A tab is one of any browser.
type tab interface {
	Press(name string)
	Until(what, expr string)
	Keys(names ...string)
	Look(name string)
}

// openTakeIn tries it on the small shoot and opens its first take.
func openTakeIn(f tab) {
	f.Press("Try it on a small shoot")
	f.Until("the shoot is measured", settled)
	f.Keys("g")
	f.Until("the wall shows four takes and two alone", `location.hash.length <= 2 && document.querySelectorAll('[role=gridcell]').length >= 6`)
	f.Look("wall")
	f.Keys("ArrowRight", "Enter")
	f.Until("a take is open", `location.hash.startsWith('#/take/')`)
	f.Until("its wave is drawn", drawn)
	f.Look("take")
	f.Until("its frames are there", `[...document.querySelectorAll('.frames img')].some((i) => i.complete && i.naturalWidth > 0)`)
}

// A take is heard in Firefox: time and picture move with the audio worklet, and
// the page goes on answering.
func TestFirefoxPlays(t *testing.T) {
	d := startDesk(t, t.TempDir())
	f := webtest.Firefox(t, 1280, 900, d.url, true)
	openTakeIn(f)
	at := `document.querySelector('.hearing .time').innerText`
	f.Keys("Space")
	f.Until("it plays and time moves", `/Pause/.test(document.querySelector('.play').innerText) && await new Promise((r) => { const was = `+at+`; setTimeout(() => r(`+at+` !== was), 300) })`)
	f.Until("it has come some way", `parseFloat(`+at+`.split(':')[1]) > 1`)
	f.Until("the picture goes with it", `document.querySelector('.screen video').currentTime > 0.5`)
	f.Keys("2", "5", "Space")
	f.Until("it stands", `/Play/.test(document.querySelector('.play').innerText)`)
	f.Clean()
}
