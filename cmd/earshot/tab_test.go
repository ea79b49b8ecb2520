package main

import (
	"os"
	"path/filepath"
	"testing"

	"earshot/internal/web/webtest"
)

// A stop is what has the focus after one Tab.
type stop struct {
	Name    string // its kind and words; "": the page itself, beyond its last control
	Again   bool   // it had the focus before
	Same    bool   // it is the one that had it last: a player has controls of its own inside
	Back    bool   // it stands before the one that had it last
	Shown   bool   // a line about it, or about its label, says that it has the focus
	Covered bool   // it is out of sight, or something lies over its middle
}

// focused describes what has the focus, and notes that it had it.
const focused = `(() => {
	const e = document.activeElement, last = window.tabbed.at(-1)
	if (!e || e === document.body) return {name: '', shown: true}
	const lined = (x) => x && getComputedStyle(x).outlineStyle !== 'none' && parseFloat(getComputedStyle(x).outlineWidth) > 0
	const label = e.closest('label'), box = (label && e.matches('input[type=radio]') ? label : e).getBoundingClientRect()
	const at = document.elementFromPoint(box.x + box.width / 2, box.y + Math.min(box.height / 2, 20))
	const is = {name: e.tagName + ' ' + (e.ariaLabel || e.innerText || e.id || e.className).split('\n')[0].slice(0, 40), again: window.tabbed.includes(e), same: e === last,
		back: Boolean(last?.isConnected && last.compareDocumentPosition(e) & Node.DOCUMENT_POSITION_PRECEDING),
		shown: lined(e) || lined(label), covered: !at || !(e.contains(at) || at.contains(e) || label?.contains(at))}
	if (!is.again) window.tabbed.push(e)
	return is })()`

// controls are those that a person can use; of radio buttons the one chosen
// stands for its group.
const controls = `[...(document.querySelector('dialog[open]') ?? document).querySelectorAll('a[href], button, input, select, textarea, summary, [tabindex]')].filter((e) => e.tabIndex >= 0 && !e.disabled
	&& e.checkVisibility({visibilityProperty: true}) && !(e.type === 'radio' && !e.checked && document.querySelector('input[name="' + e.name + '"]:checked')))`

// tabs goes once round the page by Tab alone and wants that every control is
// reached, in the order of the page, seen, and told apart.
func (s *shown) tabs(state string) {
	s.t.Helper()
	p := s.p
	p.steady(controls + `.length`)
	dialog, n := false, 0
	p.JS(atSheet, &dialog)
	p.JS(controls+`.length`, &n)
	p.JS(`void (window.tabbed = [])`, nil)
	if !dialog { // a dialog has the focus already
		p.JS(`void (document.activeElement.blur(), document.body.tabIndex = -1, document.body.focus(), document.body.removeAttribute('tabindex'))`, nil)
	}
	for range 3*n + 30 {
		p.Chord("Tab")
		var now stop
		p.JS(focused, &now)
		if now.Same {
			continue
		}
		if now.Name == "" || now.Again {
			if dialog && now.Name == "" {
				continue // the browser's own, between the dialog's end and its beginning
			}
			break
		}
		s.stops++
		if !now.Shown {
			s.t.Errorf("%s: nothing shows that %s has the focus", state, now.Name)
		}
		if now.Covered {
			s.t.Errorf("%s: %s has the focus and is out of sight", state, now.Name)
		}
		if now.Back && !dialog {
			s.t.Errorf("%s: %s comes too late", state, now.Name)
		}
	}
	var missed []string
	p.JS(controls+`.filter((e) => !window.tabbed.includes(e)).map((e) => e.outerHTML.slice(0, 120))`, &missed)
	for _, m := range missed {
		s.t.Errorf("%s: no Tab leads to %s", state, m)
	}
}

// Every control of every state is reached by Tab, in order, and is seen to be.
func TestEveryControlByTab(t *testing.T) {
	s := everyState(t, func(s *shown, state string) {
		s.tabs(state)
		s.p.Until("the page stands", stands)
	})
	t.Logf("%d states, %d stops", s.seen, s.stops)
}

// The whole of it without a pointing device: a folder is found among the
// machine's places, its takes are looked at, and the clips are proven.
func TestEveningByKeys(t *testing.T) {
	b := webtest.Browser(t)
	day := newShoot(t)
	d := startDesk(t, t.TempDir())
	d.folders(t, "Videos/evening", "Music")
	for _, from := range []string{day.clip, day.sound} {
		bytes, err := os.ReadFile(from)
		if err == nil {
			err = os.WriteFile(filepath.Join(d.home, "Videos", "evening", filepath.Base(from)), bytes, 0o444)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	p := openPage(t, b, 1280, 900, d.url)
	p.tabTo("Add folders")
	p.Chord("Enter")
	p.Until("places are shown", `document.activeElement.matches('.inside .folder')`)
	p.Chord("Escape")
	p.Until("the focus is where it was", `!document.querySelector('dialog') && document.activeElement.innerText === 'Add folders'`)
	p.Chord("Enter")
	p.Until("places are shown", `document.activeElement.matches('.inside .folder')`)
	p.Chord("Enter")
	p.Until("the home folder is shown", `document.activeElement.innerText === 'Music'`)
	p.Chord("ArrowDown", "ArrowRight")
	p.Until("the folder's folder is shown", `document.activeElement.innerText === 'evening'`)
	p.Chord("Tab", "Enter")
	p.Until("the take is found", `await fetch('/api/state').then((r) => r.json()).then((s) => !s.work.busy && s.takes.length === 1 && s.takes[0].verdict === 'sure')`)
	p.Until("the dialog is gone", `!document.querySelector('dialog')`)
	p.Chord("g")
	p.Until("the wall shows it", `document.querySelector('.tile[data-id]')`)
	p.Chord("ArrowRight", "Enter")
	p.Until("the take is drawn", drawn)
	p.Chord("t")
	p.Until("a place can be typed", `document.activeElement.id === 'offset'`)
	p.Type("+2 ms")
	p.Chord("Enter")
	p.Until("it is moved", `await fetch('/api/state').then((r) => r.json()).then((s) => Math.abs(s.takes[0].moved_ms - 2) < 0.01)`)
	p.Chord("r")
	p.Until("it is back", `await fetch('/api/state').then((r) => r.json()).then((s) => s.takes[0].moved_ms === 0)`)
	p.Chord("a")
	p.Until("it is approved", `await fetch('/api/state').then((r) => r.json()).then((s) => s.takes[0].word.approved)`)
	p.Chord("f")
	p.Until("marrying is asked for", `document.querySelector('.choices')`)
	p.tabTo("Marry 1 take")
	p.Chord("Enter")
	p.Until("the page says that it is in sync", `/written; in sync/.test(document.querySelector('#main').innerText)`)
	made, err := filepath.Glob(filepath.Join(d.folder, "married", "A001_married.*"))
	if err != nil || len(made) != 1 {
		t.Errorf("the finished clips are %v, %v", made, err)
	}
	p.Clean()
}

// tabTo presses Tab until what is called so has the focus.
func (p *page) tabTo(name string) {
	p.T.Helper()
	for range 100 {
		p.Chord("Tab")
		var here bool
		if p.JS(`document.activeElement.innerText === '`+name+`'`, &here); here {
			return
		}
	}
	p.T.Fatalf("no Tab leads to %s", name)
}
