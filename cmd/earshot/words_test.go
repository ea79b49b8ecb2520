package main

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"earshot/internal/web/webtest"
)

// measuredDemo opens a desk on the try-it shoot, measured, at its wall.
func measuredDemo(t *testing.T) *page {
	t.Helper()
	p := openPage(t, webtest.Browser(t), 1280, 900, startDesk(t, t.TempDir()).url)
	p.Press("Try it on a small shoot")
	p.Until("the shoot is measured", settled)
	p.Keys("g")
	p.Until("the wall shows four takes and two alone", `location.hash.length <= 2 && document.querySelectorAll('[role=gridcell]').length >= 6`)
	return p
}

// Takes that are chosen on the wall are approved together, and one undo takes all
// of it back; the head says beforehand what that would be.
func TestSeveralAtOnce(t *testing.T) {
	p := measuredDemo(t)
	approved := func(n int) {
		t.Helper()
		p.Until("so many are approved", fmt.Sprintf(`await fetch('/api/state').then((r) => r.json()).then((s) => s.takes.filter((t) => t.word.approved).length === %d)`, n))
	}
	p.Chord("Mod+a")
	p.Until("all are chosen", `document.querySelector('.chosen:not([hidden])')`)
	p.Keys("a")
	approved(4)
	if u := p.state().Undo; u == nil || u.Label != "approved" || u.More != 3 {
		t.Fatalf("it can be undone as %+v", u)
	}
	p.Until("the head says so", `[...document.querySelectorAll('#head button')].some((b) => /^Undo: approved, .+ and 3 more$/.test(b.ariaLabel))`)
	p.Chord("Mod+z")
	approved(0)
	if s := p.state(); s.Undo != nil || s.Redo == nil || s.Redo.More != 3 {
		t.Errorf("after undoing, undo is %+v and redo %+v", s.Undo, s.Redo)
	}
	p.Chord("Mod+Shift+z")
	approved(4)
	p.Clean()
}

// A clip of which no sound is known is heard by itself, in both ears and as the
// program sends it; choosing between microphones is not offered.
func TestAloneIsHeard(t *testing.T) {
	p := measuredDemo(t)
	id := p.take("C0007.MP4").id
	with := p.sent(id, 0, heardRate)
	p.JS(`await fetch('/api/takes/`+id+`/word', { method: 'PATCH', headers: { 'Content-Type': 'application/json' },
		body: JSON.stringify({ refused: await fetch('/api/state').then((r) => r.json()).then((s) => s.recordings.filter((r) => r.kind === 'sound').map((r) => r.id)) }) })`, nil)
	p.Until("it is alone", `await fetch('/api/state').then((r) => r.json()).then((s) => !s.work.busy && !s.takes.some((t) => t.id === '`+id+`'))`)
	p.renders(rendering{Take: id, Alone: true, Length: 30, Seconds: 1, Mode: "both", Volume: full()})
	ears := p.ears(0, heardRate)
	for side, ear := range ears {
		worst := 0.0
		for i := heardRate / 4; i < heardRate; i++ { // it fades in
			worst = math.Max(worst, math.Abs(float64(ear[i]-with[1][i])))
		}
		if worst > 1e-6 || !slices.ContainsFunc(ear, func(v float32) bool { return math.Abs(float64(v)) > 1e-3 }) {
			t.Errorf("side %d is %g off what the camera recorded", side, worst)
		}
	}
	p.JS(`location.hash = '#/take/`+id+`'`, nil)
	p.Until("it can be played, and nothing else is offered", `!document.querySelector('.play').disabled && [...document.querySelectorAll('.modes button')].every((b) => b.disabled)`)
	p.Keys("Space")
	p.Until("it plays and time moves", `/Pause/.test(document.querySelector('.play').innerText) && await new Promise((r) => { const was = `+atTime+`; setTimeout(() => r(`+atTime+` !== was), 300) })`)
	p.Keys("3", "5", "Space")
	var says string
	if p.JS(`document.querySelector('.hearing [role=status]').innerText`, &says); !strings.Contains(says, "Only the camera is heard") {
		t.Errorf("it says %q", says)
	}
	p.Look("alone")
	p.Clean()
}
