package main

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// settled is true once the demo's shoot is measured.
const settled = `await fetch('/api/state').then((r) => r.json()).then((s) => !s.work.busy && s.takes.length === 4 && s.takes.every((t) => t.verdict !== 'weighing'))`

// TestEvening is the whole of it in a real browser: an empty desk, a shoot that
// is brought, takes looked at and heard and moved, one button, proven clips.
func TestEvening(t *testing.T) {
	b := browser(t)
	d := startDesk(t, t.TempDir())
	p := openPage(t, b, 1280, 900, d.url)
	p.look("1-empty")
	p.press("Try it on a small shoot")
	p.until("the shoot is measured", settled)
	p.keys("g")
	p.until("the wall shows four takes and two alone", `location.hash.length <= 2 && document.querySelectorAll('[role=gridcell]').length >= 6`)
	p.look("2-wall")

	p.keys("ArrowRight", "Enter")
	p.until("a take is open", `location.hash.startsWith('#/take/')`)
	p.until("its wave is drawn", drawn)
	p.look("3-take")
	id := p.takeID()
	p.keys(".")
	p.until("it is moved", `await fetch('/api/state').then((r) => r.json()).then((s) => s.takes.find((t) => t.id === '`+id+`').moved_ms !== 0)`)
	if s := p.state(); s.Undo == nil || !strings.HasPrefix(s.Undo.Label, "laid ") {
		t.Errorf("a step later can be undone as %+v", s.Undo)
	}
	p.undo()
	p.until("it is back", `await fetch('/api/state').then((r) => r.json()).then((s) => s.takes.find((t) => t.id === '`+id+`').moved_ms === 0)`)
	p.keys("Space")
	p.until("it plays", `/Pause/.test(document.body.innerText)`)
	p.until("the playhead moves", `await new Promise((r) => { const was = document.body.innerText; setTimeout(() => r(document.body.innerText !== was), 500) })`)
	p.keys("1", "2", "3", "4", "5", "5", "Space")
	p.keys("a")
	p.until("it is approved", `await fetch('/api/state').then((r) => r.json()).then((s) => s.takes.find((t) => t.id === '`+id+`').word.approved)`)

	p.keys("f")
	p.until("marrying is asked for", `location.hash === '#/done'`)
	p.press("Marry 4 takes")
	p.until("all is written", `await fetch('/api/state').then((r) => r.json()).then((s) => !s.marriage.busy && s.marriage.clips.length === 4)`)
	p.until("the page says so", `/in sync/i.test(document.querySelector('#main').innerText)`)
	p.look("4-done")
	for _, c := range p.state().Marriage.Clips {
		if c.State != "written" || c.Proof == nil || c.Proof.State != "in sync" {
			t.Errorf("%+v", c)
		}
		if _, err := os.Stat(c.Out); err != nil || filepath.Dir(c.Out) != filepath.Join(d.folder, "married") {
			t.Errorf("%s: %v", c.Out, err)
		}
	}
	p.clean()
}

// drawn is true once some canvas of the page shows more than a colour or two.
const drawn = `[...document.querySelectorAll('canvas')].some((c) => {
	if (!c.width || !c.height) return false
	const px = c.getContext('2d').getImageData(0, 0, c.width, c.height).data, seen = new Set()
	for (let i = 0; i < px.length; i += 4 * 37) seen.add(px[i] << 16 | px[i + 1] << 8 | px[i + 2])
	return seen.size > 3 })`

func (p *page) takeID() string {
	p.t.Helper()
	var id string
	p.js(`decodeURIComponent(location.hash.slice(7))`, &id)
	return id
}

func (p *page) undo() {
	p.t.Helper()
	p.js(`document.dispatchEvent(new KeyboardEvent('keydown', {key: 'z', ctrlKey: true, bubbles: true}))`, nil)
}

// openLesson opens a desk with the demo's shoot on it, measured.
func openLesson(t *testing.T) (*deskRun, *page) {
	t.Helper()
	b := browser(t)
	d := startDesk(t, t.TempDir())
	p := openPage(t, b, 1280, 900, d.url)
	p.press("Try it on a small shoot")
	p.until("the shoot is measured", settled)
	return d, p
}

// A page that is loaded anew in the midst of the work shows the work going on,
// and what was said.
func TestReloadInTheMidst(t *testing.T) {
	b := browser(t)
	d := startDesk(t, t.TempDir())
	p := openPage(t, b, 1280, 900, d.url)
	p.press("Try it on a small shoot")
	p.until("something is being read", `await fetch('/api/state').then((r) => r.json()).then((s) => s.recordings.length > 0)`)
	p.js(`void setTimeout(() => location.reload())`, nil)
	p.until("the page is back", `document.querySelector('#main > *') && performance.getEntriesByType('navigation')[0].type === 'reload'`)
	p.until("the shoot is measured", settled)
	p.keys("g")
	p.until("the wall shows it", `document.querySelectorAll('[role=gridcell]').length >= 6`)
	p.keys("f")
	p.press("Marry 4 takes")
	p.until("clips are being written", `await fetch('/api/state').then((r) => r.json()).then((s) => s.marriage.busy || s.marriage.clips.length > 0)`)
	p.js(`void setTimeout(() => location.reload())`, nil)
	p.until("all is written and shown", `/in sync/i.test(document.querySelector('#main')?.innerText ?? '') && !document.querySelector('progress:not([hidden])')`)
	p.clean()
}

// What one page says, the other one shows, and undoing goes over both.
func TestTwoPages(t *testing.T) {
	b := browser(t)
	d := startDesk(t, t.TempDir())
	one := openPage(t, b, 1280, 900, d.url)
	one.press("Try it on a small shoot")
	one.until("the shoot is measured", settled)
	two := openPage(t, b, 900, 900, d.url)
	id := one.state().Takes[0].ID
	for _, p := range []*page{one, two} {
		p.js(`void (location.hash = '#/take/`+id+`')`, nil)
		p.until("the take is drawn", drawn)
	}
	one.keys(".", ".", ".")
	two.until("the other page shows it moved", `/ms later than measured/.test(document.querySelector("#main").innerText)`)
	two.undo()
	one.until("undone here too", `await fetch('/api/state').then((r) => r.json()).then((s) => s.redo !== null)`)
	one.clean()
	two.clean()
}

// The program is killed in the midst of its work: the page says so, and goes on
// by itself when the program is there again at another address.
func TestKilledInTheMidst(t *testing.T) {
	d, p := openLesson(t)
	id := p.state().Takes[0].ID
	p.js(`await fetch('/api/takes/`+id+`/word', {method: 'PATCH', headers: {'Content-Type': 'application/json'}, body: JSON.stringify({approved: true, name: 'the wheel'})}).then((r) => r.status)`, new(int))
	p.keys("f")
	p.press("Marry 4 takes")
	p.until("clips are being written", `await fetch('/api/state').then((r) => r.json()).then((s) => s.marriage.busy || s.marriage.clips.length > 0)`)
	if err := d.cmd.Process.Signal(syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	d.cmd.Wait()
	p.until("the page says that nobody answers", `document.querySelector('#lost') && !document.querySelector('#lost').hidden`)

	again := startDesk(t, d.folder)
	p.visit(again.url)
	p.until("the shoot is there again", settled)
	for _, k := range p.state().Takes {
		if k.ID == id && (!k.Word.Approved || k.Word.Name != "the wheel") {
			t.Errorf("after the kill it shows %+v", k.Word)
		}
	}
	left, _ := filepath.Glob(filepath.Join(d.folder, "married", "*"))
	for _, path := range left {
		if base := filepath.Base(path); strings.HasPrefix(base, ".") || strings.Contains(base, "part") {
			t.Logf("left: %s", base)
		}
	}
}
