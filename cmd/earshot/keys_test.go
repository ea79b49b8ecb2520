package main

import (
	"slices"
	"strings"
	"testing"

	"earshot/internal/web/webtest"
)

// An act is how a key is tried: keys that bring the page where it can do
// something, what is to change by it, and keys that bring all back.
type act struct {
	before []string
	probe  string
	after  []string
}

// What a key may change, as expressions.
const (
	atTime   = `document.querySelector('.hearing .time').innerText`
	atPlace  = `location.hash`
	atFocus  = `document.activeElement.dataset.id ?? document.activeElement.dataset.path ?? document.activeElement.id`
	atChosen = `[...document.querySelectorAll('.tile[aria-selected=true]:not([hidden])')].map((e) => e.dataset.id).sort()`
	atSaid   = `document.querySelector('#said').innerText`
	atModes  = `[...document.querySelectorAll('.modes button')].map((e) => e.ariaPressed) + document.querySelector('.hearing [role=status]').innerText`
	atMoved  = `await fetch('/api/state').then((r) => r.json()).then((s) => s.takes.map((t) => t.moved_ms))`
	atWords  = `await fetch('/api/state').then((r) => r.json()).then((s) => s.takes.map((t) => [t.id, t.word.approved]))`
	atMarks  = `document.querySelector('.moving > p:last-child').innerText`
	atStep   = `document.querySelector('.steps input:checked').value`
	atFilter = `document.querySelector('.filters input:checked').value`
	atSheet  = `Boolean(document.querySelector('dialog[open]'))`
	atFound  = `Boolean(document.querySelector('.found button'))`
	atFolder = `document.querySelector('.crumbs').innerText`
	atLoop   = `[...document.querySelectorAll('.hearing > button')].map((e) => e.ariaPressed)`
	atTaken  = `window.taken`
	atPlay   = `document.querySelector('.play span').innerText`
	atInk    = ink + `('.glass canvas')`
	atDay    = ink + `('.along canvas')`
	// ink sums up what a canvas shows, read from a copy of it.
	ink = `((which) => {
		const c = document.querySelector(which), copy = new OffscreenCanvas(c.width, c.height).getContext('2d')
		copy.drawImage(c, 0, 0)
		let sum = 7
		for (const v of copy.getImageData(0, 0, c.width, c.height).data) sum = (sum * 31 + v) | 0
		return sum })`
)

// takeActs are tried in the order of the table.
var takeActs = map[string]act{
	"Space":            {nil, atPlay, []string{"Space", "Home", "Shift+ArrowRight", "Shift+ArrowRight"}},
	"ArrowLeft":        {nil, atTime, nil},
	"ArrowRight":       {nil, atTime, nil},
	"Shift+ArrowLeft":  {nil, atTime, nil},
	"Shift+ArrowRight": {nil, atTime, nil},
	"Home":             {nil, atTime, nil},
	"End":              {nil, atTime, nil},
	"PageUp":           {[]string{"7"}, atInk, nil},
	"PageDown":         {nil, atInk, nil},
	"+":                {nil, atInk, nil}, "=": {nil, atInk, nil}, "-": {nil, atInk, nil},
	"0": {nil, atInk, nil}, "7": {nil, atInk, nil}, "8": {nil, atInk, nil}, "9": {nil, atInk, []string{"0"}},
	"1": {[]string{"2"}, atModes, nil}, "2": {nil, atModes, nil}, "3": {nil, atModes, nil}, "4": {nil, atModes, nil}, "5": {nil, atModes, nil},
	"l":       {nil, atLoop, []string{"l"}},
	"c":       {[]string{"Home"}, atTime, nil},
	"Shift+c": {[]string{"End"}, atTime, nil},
	"w":       {nil, atSaid, nil},
	",":       {nil, atMoved, nil}, ".": {nil, atMoved, nil}, "<": {nil, atMoved, nil}, ">": {[]string{"."}, atMoved, nil},
	"s": {nil, atStep, nil}, "Shift+s": {nil, atStep, nil},
	"t": {nil, atFocus, []string{"Escape"}},
	"b": {[]string{"Home", "Shift+ArrowRight"}, atMarks, nil},
	"v": {[]string{"Shift+ArrowRight"}, atMarks, nil},
	"u": {nil, atMoved, nil},
	"r": {nil, atMoved, nil},
	"e": {nil, atFound, nil},
	"o": {nil, atFocus, []string{"Shift+Tab"}},
	"x": {nil, `document.querySelector('.verdict').dataset.verdict`, []string{"Mod+z"}},
	"i": {nil, atSaid, []string{"i"}}, "y": {nil, atSaid, []string{"y"}}, "q": {nil, atInk, []string{"q"}},
	"a": {nil, atWords, nil},
	"n": {nil, atSaid + `+ location.hash`, nil},
}

var wallActs = map[string]act{
	"ArrowRight": {[]string{"Home"}, atFocus, nil}, "ArrowLeft": {nil, atFocus, nil}, "ArrowUp": {[]string{"Home", "ArrowDown"}, atFocus, nil}, "ArrowDown": {nil, atFocus, nil},
	"End": {nil, atFocus, nil}, "Home": {[]string{"End"}, atFocus, nil}, "PageDown": {nil, atFocus, nil}, "PageUp": {[]string{"End"}, atFocus, nil},
	"Shift+ArrowRight": {[]string{"Home"}, atChosen, nil}, "Shift+ArrowDown": {nil, atChosen, []string{"Escape"}},
	"Shift+ArrowLeft": {[]string{"End"}, atChosen, nil}, "Shift+ArrowUp": {[]string{"Escape", "End"}, atChosen, []string{"Escape", "Home"}},
	"Enter":  {nil, atPlace, []string{"Escape"}},
	"Space":  {nil, atChosen, []string{"Space"}},
	"Mod+a":  {nil, atChosen, nil},
	"Escape": {nil, atChosen, nil},
	"a":      {[]string{"Home"}, atWords, []string{"a"}},
	"x":      {nil, atWords, []string{"Mod+z"}},
	"m":      {nil, atPlace, []string{"g"}},
	"1":      {[]string{"4"}, atFilter, nil}, "2": {nil, atFilter, nil}, "3": {nil, atFilter, nil}, "4": {nil, atFilter, nil},
}

var dayActs = map[string]act{
	"ArrowLeft": {[]string{"ArrowRight", "End"}, atFocus, nil}, "ArrowRight": {nil, atFocus, nil},
	"ArrowUp": {nil, atTaken, nil}, "ArrowDown": {nil, atTaken, nil}, // this day has one shore only; wall.test.js tries several
	"Home": {[]string{"ArrowUp", "ArrowUp", "End"}, atFocus, nil}, "End": {nil, atFocus, nil},
	"Enter": {nil, atPlace, []string{"d"}},
	"+":     {nil, atDay, nil}, "=": {nil, atDay, nil}, "-": {nil, atDay, nil}, "0": {nil, atDay, nil},
}

var folderActs = map[string]act{
	"ArrowUp": {[]string{"ArrowDown"}, atFocus, nil}, "ArrowDown": {nil, atFocus, nil}, "Home": {nil, atFocus, nil}, "End": {nil, atFocus, nil},
	"Enter": {nil, atFolder, nil}, "ArrowRight": {[]string{"Home", "Backspace"}, atFolder, nil},
	"Backspace": {nil, atFolder, nil}, "ArrowLeft": {[]string{"ArrowRight"}, atFolder, nil},
	"Escape": {nil, atSheet, nil},
}

var anyActs = map[string]act{
	"?":     {nil, atSheet, []string{"Escape"}},
	"Mod+z": {nil, atWords, nil}, "Mod+Shift+z": {nil, atWords, []string{"Mod+z"}}, "Mod+y": {nil, atWords, []string{"Mod+z"}},
	"d": {nil, atPlace, nil}, "g": {[]string{"d"}, atPlace, nil}, "f": {nil, atPlace, nil}, "Escape": {nil, atPlace, nil},
}

// hands are what the table says of pointing devices: no keys.
var hands = []string{"Hand", "Wheel"}

// tables are the page's own tables of keys.
func (p *page) tables() map[string][]string {
	p.T.Helper()
	var got []struct {
		Place string
		Rows  []struct {
			Keys []string
			Says string
		}
	}
	p.JS(`(await import('/common/keys.js')).places()`, &got)
	out := map[string][]string{}
	for _, g := range got {
		for _, r := range g.Rows {
			for _, k := range r.Keys {
				if !slices.Contains(hands, k) {
					out[g.Place] = append(out[g.Place], k)
				}
			}
		}
	}
	return out
}

// try presses every key of a place, in the table's order, and wants a change
// by each.
func (p *page) try(place string, keys []string, acts map[string]act) (n int) {
	p.T.Helper()
	if len(keys) == 0 {
		p.T.Errorf("%s: the page has no keys", place)
	}
	for k := range acts {
		if !slices.Contains(keys, k) {
			p.T.Errorf("%s: %q does nothing any more", place, k)
		}
	}
	for _, k := range keys {
		a, ok := acts[k]
		if !ok {
			p.T.Errorf("%s: nobody tries %q", place, k)
			continue
		}
		for _, b := range a.before {
			p.Chord(b)
			p.rest()
		}
		was := p.steady(a.probe)
		p.Chord(k)
		if !p.changes(a.probe, was) {
			p.T.Errorf("%s: %q leaves %s as it is, %s", place, k, a.probe, was)
		}
		for _, b := range a.after {
			p.rest()
			p.Chord(b)
		}
		p.rest()
		p.Clean()
		n++
	}
	return n
}

// changes waits until an expression is no longer what it was.
func (p *page) changes(expr, was string) (ok bool) {
	p.T.Helper()
	p.JS(`await (async () => {
		for (let k = 0; k < 200; k++, await new Promise((r) => setTimeout(r, 100))) if (JSON.stringify(`+expr+`) !== `+was+`) return true
		return false })()`, &ok)
	return ok
}

// rest waits until the program has said all, and the page shows it.
func (p *page) rest() {
	p.T.Helper()
	p.Until("all is said", `await fetch('/api/state').then((r) => r.json()).then((s) => !s.work.busy) && `+stands)
}

// steady is an expression's value as JSON, quoted, once it is the same twice.
func (p *page) steady(expr string) string {
	p.T.Helper()
	var quoted string
	p.Until("it stands: "+expr, `JSON.stringify(`+expr+`) === (await new Promise((r) => setTimeout(r, 600)), JSON.stringify(`+expr+`))`)
	p.JS(`JSON.stringify(JSON.stringify(`+expr+`))`, &quoted)
	return quoted
}

// Every key that the sheet of keys names does something; the sheet names the
// keys of every screen before any was opened.
func TestEveryKey(t *testing.T) {
	b := webtest.Browser(t)
	s := &shown{t: t, d: startDesk(t, t.TempDir())}
	s.d.folders(t, "Videos/one", "Videos/two", "Recorder")
	p := openPage(t, b, 900, 560, s.d.url)
	s.p = p
	p.JS(`void addEventListener('keydown', (e) => window.taken = (window.taken ?? 0) + e.defaultPrevented)`, nil)
	p.Chord("?")
	p.Until("the sheet is open", atSheet)
	var sheet string
	p.JS(`document.querySelector('dialog').innerText`, &sheet)
	for _, want := range []string{"Anywhere", "On the wall", "At a take", "In the day", "Among folders", "approve, and on to the next", "choose along the way"} {
		if !strings.Contains(sheet, want) {
			t.Errorf("the sheet does not name %q at the beginning", want)
		}
	}
	p.Chord("Escape")
	table, n := p.tables(), 0

	p.Press("Add folders")
	p.Until("places are shown", `document.querySelector('.inside .folder')`)
	p.Chord("Enter")
	p.Until("the home folder is shown", `document.querySelectorAll('.inside .folder').length === 2`)
	n += p.try("Among folders", table["Among folders"], folderActs)
	p.Press("Try it on a small shoot")
	p.Until("the shoot is measured", settled)
	alone, sound := s.alone()
	s.patch(alone, `{sound: '`+sound+`', line: {offset_s: 3, drift_ppm: 0}}`)
	p.Chord("g")
	p.Until("the wall is there", `document.querySelectorAll('.tile[data-id]').length >= 5`)
	n += p.try("On the wall", table["On the wall"], wallActs)
	s.patch(alone, `{sound: '', line: null}`) // a clip that no sound heard lies by itself in the day
	p.rest()
	p.Chord("d")
	p.Until("the day is there", `document.querySelectorAll('.mark').length > 1`)
	n += p.try("In the day", table["In the day"], dayActs)
	p.toTake(s.sure(0).ID)
	p.Chord("Shift+ArrowRight", "Shift+ArrowRight")
	n += p.try("At a take", table["At a take"], takeActs)
	p.Chord("g")
	n += p.try("Anywhere", table["Anywhere"], anyActs)
	t.Logf("%d places, %d keys", len(table), n)
	if len(table) != 5 {
		t.Errorf("there are %d places with keys", len(table))
	}
}
