package main

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"earshot/internal/web/webtest"
)

// settled is true once the demo's shoot is measured.
const settled = `await fetch('/api/state').then((r) => r.json()).then((s) => !s.work.busy && s.takes.length === 4 && s.takes.every((t) => t.verdict !== 'weighing'))`

// TestEvening is the whole of it in a real browser: an empty desk, a shoot that
// is brought, takes looked at and heard and moved, one button, proven clips.
func TestEvening(t *testing.T) {
	b := webtest.Browser(t)
	d := startDesk(t, t.TempDir())
	p := openPage(t, b, 1280, 900, d.url)
	p.Look("empty")
	openTakeIn(p)
	id := p.takeID()
	p.Keys(".")
	p.Until("it is moved", `await fetch('/api/state').then((r) => r.json()).then((s) => s.takes.find((t) => t.id === '`+id+`').moved_ms !== 0)`)
	if s := p.state(); s.Undo == nil || !strings.HasPrefix(s.Undo.Label, "laid ") {
		t.Errorf("a step later can be undone as %+v", s.Undo)
	}
	p.undo()
	p.Until("it is back", `await fetch('/api/state').then((r) => r.json()).then((s) => s.takes.find((t) => t.id === '`+id+`').moved_ms === 0)`)
	p.Keys("Space")
	p.Until("it plays", `/Pause/.test(document.body.innerText)`)
	p.Until("the playhead moves", `await new Promise((r) => { const was = document.body.innerText; setTimeout(() => r(document.body.innerText !== was), 500) })`)
	p.Keys("1", "2", "3", "4", "5", "5", "Space")
	p.Keys("a")
	p.Until("it is approved", `await fetch('/api/state').then((r) => r.json()).then((s) => s.takes.find((t) => t.id === '`+id+`').word.approved)`)

	p.Keys("f")
	p.Until("marrying is asked for", `location.hash === '#/done'`)
	p.Press("Marry 4 takes")
	p.Until("all is written", `await fetch('/api/state').then((r) => r.json()).then((s) => !s.marriage.busy && s.marriage.clips.length === 4)`)
	p.Until("the page says so", `/in sync/i.test(document.querySelector('#main').innerText)`)
	p.Look("done")
	for _, c := range p.state().Marriage.Clips {
		if c.State != "written" || c.Proof == nil || c.Proof.State != "in sync" {
			t.Errorf("%+v", c)
		}
		if _, err := os.Stat(c.Out); err != nil || filepath.Dir(c.Out) != filepath.Join(d.folder, "married") {
			t.Errorf("%s: %v", c.Out, err)
		}
	}
	p.Clean()
}

// drawn is true once some canvas of the page shows more than a colour or two.
const drawn = `[...document.querySelectorAll('canvas')].some((c) => {
	if (!c.width || !c.height) return false
	const px = c.getContext('2d').getImageData(0, 0, c.width, c.height).data, seen = new Set()
	for (let i = 0; i < px.length; i += 4 * 37) seen.add(px[i] << 16 | px[i + 1] << 8 | px[i + 2])
	return seen.size > 3 })`

func (p *page) takeID() string {
	p.T.Helper()
	var id string
	p.JS(`decodeURIComponent(location.hash.slice(7))`, &id)
	return id
}

func (p *page) undo() {
	p.T.Helper()
	p.JS(`document.dispatchEvent(new KeyboardEvent('keydown', {key: 'z', ctrlKey: true, bubbles: true}))`, nil)
}

// openLesson opens a desk with the demo's shoot on it, measured.
func openLesson(t *testing.T) (*deskRun, *page) {
	t.Helper()
	b := webtest.Browser(t)
	d := startDesk(t, t.TempDir())
	p := openPage(t, b, 1280, 900, d.url)
	p.Press("Try it on a small shoot")
	p.Until("the shoot is measured", settled)
	return d, p
}

// A page that is loaded anew in the midst of the work shows the work going on,
// and what was said.
func TestReloadInTheMidst(t *testing.T) {
	b := webtest.Browser(t)
	d := startDesk(t, t.TempDir())
	p := openPage(t, b, 1280, 900, d.url)
	p.Press("Try it on a small shoot")
	p.Until("something is being read", `await fetch('/api/state').then((r) => r.json()).then((s) => s.recordings.length > 0)`)
	p.JS(`void setTimeout(() => location.reload())`, nil)
	p.Until("the page is back", `document.querySelector('#main > *') && performance.getEntriesByType('navigation')[0].type === 'reload'`)
	p.Until("the shoot is measured", settled)
	p.Keys("g")
	p.Until("the wall shows it", `document.querySelectorAll('[role=gridcell]').length >= 6`)
	p.Keys("f")
	p.Press("Marry 4 takes")
	p.Until("clips are being written", `await fetch('/api/state').then((r) => r.json()).then((s) => s.marriage.busy || s.marriage.clips.length > 0)`)
	p.JS(`void setTimeout(() => location.reload())`, nil)
	p.Until("all is written and shown", `/in sync/i.test(document.querySelector('#main')?.innerText ?? '') && !document.querySelector('progress:not([hidden])')`)
	p.Clean()
}

// What one page says, the other one shows, and undoing goes over both.
func TestTwoPages(t *testing.T) {
	b := webtest.Browser(t)
	d := startDesk(t, t.TempDir())
	one := openPage(t, b, 1280, 900, d.url)
	one.Press("Try it on a small shoot")
	one.Until("the shoot is measured", settled)
	two := openPage(t, b, 900, 900, d.url)
	id := one.state().Takes[0].ID
	for _, p := range []*page{one, two} {
		p.JS(`void (location.hash = '#/take/`+id+`')`, nil)
		p.Until("the take is drawn", drawn)
	}
	one.Keys(".", ".", ".")
	two.Until("the other page shows it moved", `/ms later than measured/.test(document.querySelector("#main").innerText)`)
	two.undo()
	one.Until("undone here too", `await fetch('/api/state').then((r) => r.json()).then((s) => s.redo !== null)`)
	one.Clean()
	two.Clean()
}

// The program is killed in the midst of its work: the page says so, and goes on
// by itself when the program is there again at another address.
func TestKilledInTheMidst(t *testing.T) {
	d, p := openLesson(t)
	id := p.state().Takes[0].ID
	p.JS(`await fetch('/api/takes/`+id+`/word', {method: 'PATCH', headers: {'Content-Type': 'application/json'}, body: JSON.stringify({approved: true, name: 'the wheel'})}).then((r) => r.status)`, new(int))
	p.Keys("f")
	p.Press("Marry 4 takes")
	p.Until("clips are being written", `await fetch('/api/state').then((r) => r.json()).then((s) => s.marriage.busy || s.marriage.clips.length > 0)`)
	if err := d.cmd.Process.Signal(syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	d.cmd.Wait()
	p.Until("the page says that nobody answers", `document.querySelector('#lost') && !document.querySelector('#lost').hidden`)

	again := startDesk(t, d.folder)
	p.Visit(again.url)
	p.Until("the shoot is there again", settled)
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
