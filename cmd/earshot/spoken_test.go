package main

import (
	"regexp"
	"strings"
	"testing"
)

// said wants that a screen reader is told all these, as Chromium's
// accessibility tree has them.
func (p *page) said(where string, want ...string) {
	p.T.Helper()
	all := strings.Join(p.Heard(), "\n")
	for _, w := range want {
		if !regexp.MustCompile(`(?m)` + w).MatchString(all) {
			p.T.Errorf("%s: nothing says %s in:\n%s", where, w, all)
		}
	}
}

// told wants that the page's live region says what happens.
func (p *page) told(what string) {
	p.T.Helper()
	p.Until("it is told that "+what, `document.querySelector('#said[role=status][aria-live=polite]').innerText.includes('`+what+`')`)
	p.said("what happens", `^(paragraph|StaticText|strong|generic|InlineTextBox): .*`+regexp.QuoteMeta(what))
}

// What is drawn stands in words too: whoever sees nothing is told the verdict,
// the seam's figures, the claps, where the playhead and the sound are, and all
// that happens.
func TestSpoken(t *testing.T) {
	_, p := openLesson(t)
	p.Chord("g")
	p.Until("the wall is there", `document.querySelectorAll('.tile[data-id]').length >= 6`)
	p.said("wall", `^grid: Takes`, `^gridcell: C0008\.MP4\. \d+ seconds\. sure: the match stands \d+ times above the noise\. Good sound all along\.$`,
		`^gridcell: C0011\.MP4\..* Good sound from 0:\d\d to 0:\d\d\.$`, `^gridcell: C0009\.MP4\. \d+ seconds\. alone: no sound heard the same moment$`)
	p.Chord("ArrowRight", "Space", "a")
	p.told("Approved: 1 take")
	p.Chord("a")
	p.told("No longer approved: 1 take")
	p.Chord("Escape")

	s := &shown{t: t, p: p}
	p.toTake(s.sure(0).ID)
	p.Until("its detail is there", `document.querySelectorAll('.claps button').length > 0`)
	p.said("take", `Sure\. The chance that this is the wrong place is 1 in [\d,]+\.`, `\d+ of \d+ windows along the take were clearly heard\. The middle one lies .*, 95 % lie within .*, the furthest is .* off\.`,
		`^button: Clap at 0:\d\d\.\d{3}, (right on|.* (late|early))`, `^slider: Playhead in the mirror`, `0:00\.000 in the clip, 0:\d\d\.\d{3} in the sound, the seam near here`, `^button: Play`)
	p.Chord(".", ".", ".")
	p.Until("it is moved", `await fetch('/api/state').then((r) => r.json()).then((s) => s.undo?.label.startsWith('laid'))`)
	p.said("moved take", `3\.0 ms later than measured`)
	p.Chord("Mod+z")
	p.told("Undone: laid")
	p.said("take put back", `It lies as measured\.`)
	p.Chord("a")
	p.told("Approved. No other take needs a look")
	p.Chord("f")
	p.Press("Marry 4 takes")
	p.Until("it is told how many were written", `/4 written/.test(document.querySelector('.outcome [role=status], .outcome [aria-live]')?.closest('.outcome').innerText ?? '')`)
	p.told("Married: 4 written")
	p.said("finished clips", `written; in sync, .*, 95 % of the seam within`)
	p.Clean()
}
