package main

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"earshot/internal/web/webtest"
)

// A shown is a desk with a page of it that is brought into one state after the
// other, and what is to be looked at in each.
type shown struct {
	t     *testing.T
	d     *deskRun
	p     *page
	look  func(state string)
	seen  int // states
	stops int // of Tab
}

// state looks at what the page shows now.
func (s *shown) state(name string) {
	s.t.Helper()
	s.seen++
	s.look(name)
	s.p.Clean()
}

// everyState brings a desk into every state that its page can show. What look
// changes of the page it brings back.
func everyState(t *testing.T, look func(s *shown, state string)) *shown {
	t.Helper()
	b := webtest.Browser(t)
	s := &shown{t: t, d: startDesk(t, t.TempDir())}
	s.look = func(state string) { look(s, state) }
	s.d.folders(t, "Videos", "Recorder/day one", "Card")
	s.p = openPage(t, b, 900, 900, s.d.url)
	s.start()
	s.wall()
	s.takes()
	s.sheets()
	s.marrying()
	return s
}

// start goes from the empty beginning to a shoot that is measured.
func (s *shown) start() {
	p := s.p
	s.state("empty")
	p.Press("Add folders")
	p.Until("the machine's places are shown", `document.querySelector('.inside .folder')`)
	s.state("places of the machine")
	p.Press("Home")
	p.Until("folders are shown", `[...document.querySelectorAll('.inside .folder')].some((e) => e.innerText === 'Videos')`)
	s.state("folders")
	p.Chord("Escape")
	p.Until("the dialog is closed", `!document.querySelector('dialog')`)
	p.Press("Try it on a small shoot")
	p.Until("some file is being read", `document.querySelector('.files li') && document.querySelector('.now').innerText`)
	letGo := s.d.hold(s.t)
	s.state("beginning, at work")
	letGo()
	p.Until("the shoot is measured", settled)
	s.state("beginning, measured")
}

// patch says something of a clip, and waits until all is still.
func (s *shown) patch(id, change string) {
	s.t.Helper()
	var status int
	s.p.JS(`await fetch('/api/takes/`+id+`/word', {method: 'PATCH', headers: {'Content-Type': 'application/json'}, body: JSON.stringify(`+change+`)}).then((r) => r.status)`, &status)
	if status != 200 {
		s.t.Fatalf("%s of %s was answered %d", change, id, status)
	}
}

// wall shows the wall by each filter, with a take of each kind, and the day.
func (s *shown) wall() {
	p := s.p
	alone, sound := s.alone()
	s.patch(alone, `{sound: '`+sound+`', line: {offset_s: 3, drift_ppm: 0}}`)
	s.patch(s.sure(0).ID, `{line: {offset_s: 2.5, drift_ppm: 10}, approved: true, name: 'a name of its own'}`)
	p.hash("#/")
	p.Until("the wall is there", `document.querySelectorAll('[role=gridcell]').length >= 6`)
	for i, name := range []string{"look", "done", "alone", "all"} {
		p.Chord(fmt.Sprint(i + 1))
		p.Until("it is filtered", `document.querySelector('.filters input:checked').value === '`+name+`'`)
		s.state("wall, " + name)
	}
	p.Chord("Mod+a")
	p.Until("all are chosen", `document.querySelector('.chosen:not([hidden])')`)
	s.state("wall, chosen")
	p.Chord("Escape")
	p.hash("#/day")
	p.Until("the day is there", `document.querySelectorAll('.mark').length > 1`)
	s.state("day")
}

// takes shows one take after the other.
func (s *shown) takes() {
	p := s.p
	alone, _ := s.alone()
	for _, k := range []struct{ state, id string }{{"take, sure", s.sure(1).ID}, {"take, moved", s.sure(0).ID}, {"take, by hand", alone}} {
		p.toTake(k.id)
		s.state(k.state)
	}
	p.Chord("o")
	p.Until("sounds are offered", `document.querySelectorAll('.sounds li').length > 1 && document.activeElement.id === 'sound-search'`)
	s.state("take, other sounds")
	p.JS(`document.activeElement.blur()`, nil)
	p.Chord("x")
	p.Until("it is alone again", `/^Alone/.test(document.querySelector('.verdict').innerText) && /was refused/.test(document.querySelector('.others').innerText)`)
	s.state("clip, alone with a refusal")
	p.toTake(s.sure(2).ID)
	p.Chord("e")
	p.Until("something was found", `document.querySelector('.found button')`)
	s.state("take, found near here")
	p.Chord("b", "v")
	p.JS(`document.querySelector('#offset').focus()`, nil)
	p.Type("nonsense")
	p.Chord("Enter")
	p.Until("it says why not", `document.querySelector('#offset[aria-invalid]')`)
	s.state("take, marks and a wrong place")
	p.JS(`document.activeElement.blur()`, nil)
}

// sheets shows the sheet of keys.
func (s *shown) sheets() {
	s.p.Chord("?")
	s.p.Until("the sheet is open", `document.querySelector('dialog[open]')`)
	s.state("keys")
	s.p.Chord("Escape")
	s.p.Until("the sheet is closed", `!document.querySelector('dialog')`)
}

// marrying shows the last screen before, during and after, and the end.
func (s *shown) marrying() {
	p := s.p
	p.hash("#/done")
	p.Until("marrying is asked for", `document.querySelector('.choices')`)
	s.state("marrying, before")
	p.JS(`document.querySelector('[name=placed][value=saw]').click()`, nil)
	s.state("marrying, as the camera saw it")
	p.JS(`document.querySelector('[name=placed][value=heard]').click()`, nil)
	p.Press("Marry 4 takes")
	p.Until("clips are being written", `document.querySelector('progress:not([hidden])')`)
	letGo := s.d.hold(s.t)
	s.state("marrying, at work")
	letGo()
	p.Until("all is written", `document.querySelectorAll('.finished li').length === 4 && !document.querySelector('progress:not([hidden])')`)
	s.state("marrying, after")
	p.JS(`document.querySelector('.finished button').click()`, nil)
	p.Until("a clip is played", `document.querySelector('.player video')`)
	s.state("marrying, played")
	p.JS(`document.querySelector('.finished button').click()`, nil)
	p.hash("#/start")
	p.Press("End Earshot")
	p.Until("it has ended", `/has ended/.test(document.body.innerText)`)
	s.state("ended")
}

// sure is one of the takes that the measurement is sure of, by its number.
func (s *shown) sure(n int) (k struct{ ID string }) {
	s.t.Helper()
	for _, t := range s.p.state().Takes {
		if t.Verdict != "sure" {
			continue
		}
		if k.ID = t.ID; n == 0 {
			return k
		}
		n--
	}
	s.t.Fatalf("too few takes are sure")
	return k
}

// alone is the clip that no sound heard, and a sound to pair it with.
func (s *shown) alone() (clip, sound string) {
	s.t.Helper()
	for _, r := range s.p.state().Recordings {
		if r.Kind == "clip" && r.Name == "C0009.MP4" { // the try-it shoot's
			clip = r.ID
		}
		if r.Kind == "sound" && (sound == "" || len(r.Alone) > 0) {
			sound = r.ID
		}
	}
	if clip == "" || sound == "" {
		s.t.Fatalf("nothing is alone")
	}
	return clip, sound
}

// folders makes folders in the person's own.
func (d *deskRun) folders(t *testing.T, names ...string) {
	t.Helper()
	for _, name := range names {
		if err := os.MkdirAll(filepath.Join(d.home, filepath.FromSlash(name)), 0o777); err != nil {
			t.Fatal(err)
		}
	}
}

// hash goes to another screen.
func (p *page) hash(to string) {
	p.T.Helper()
	p.JS(`void (location.hash = '`+to+`')`, nil)
}

// toTake opens a take and waits until it is drawn.
func (p *page) toTake(id string) {
	p.T.Helper()
	p.hash("#/take/" + id)
	p.Until("the take is drawn", `decodeURIComponent(location.hash.slice(7)) === '`+id+`' && document.querySelector('.verdict')?.innerText && `+drawn)
}
