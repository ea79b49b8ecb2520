package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// axePath is where `make page` puts axe-core, Deque's checker of the Web Content
// Accessibility Guidelines (github.com/dequelabs/axe-core).
var axePath = filepath.Join("..", "..", "internal", "web", "page", "node_modules", "axe-core", "axe.min.js")

// axeSource is axe-core, or the test is skipped.
func axeSource(t *testing.T) string {
	t.Helper()
	b, err := os.ReadFile(axePath)
	if err != nil {
		if os.Getenv("EARSHOT_REFERENCE") != "" {
			t.Fatalf("axe-core is missing (make page brings it): %v", err)
		}
		t.Skip("axe-core is missing; make page brings it")
	}
	return string(b)
}

// axe wants that nothing on the page is against WCAG 2.0 to 2.2, levels A and AA.
// In forced colours the contrast is the person's own choice, which no script can read.
func (p *page) axe(source, state string, forced bool) {
	p.T.Helper()
	var there bool
	if p.JS(`Boolean(window.axe)`, &there); !there {
		p.JS(`(() => { `+source+`
		return true })()`, nil)
	}
	var got struct {
		Passes     int
		Violations []struct {
			ID    string
			Nodes []struct {
				Target  []any
				Summary string
			}
		}
	}
	rules := `{}`
	if forced {
		rules = `{'color-contrast': {enabled: false}}`
	}
	p.JS(`await axe.run(document, {rules: `+rules+`, runOnly: {type: 'tag', values: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22a', 'wcag22aa']}, resultTypes: ['violations']})
		.then((r) => ({passes: r.passes.length, violations: r.violations.map((v) => ({id: v.id, nodes: v.nodes.map((n) => ({target: n.target, summary: n.failureSummary}))}))}))`, &got)
	if got.Passes == 0 {
		p.T.Errorf("%s: nothing was checked", state)
	}
	for _, v := range got.Violations {
		for _, n := range v.Nodes {
			at, _ := json.Marshal(n.Target)
			p.T.Errorf("%s: %s at %s: %s", state, v.ID, at, strings.Join(strings.Fields(n.Summary), " "))
		}
	}
}

// A dress is how a person has the page: colours, width and wishes.
type dress struct {
	name          string
	theme         string
	width, height int64
	zoom          float64
	media         []string
}

var dresses = []dress{
	{"light, narrow", "light", 320, 640, 1, nil}, {"dark, narrow", "dark", 320, 640, 1, nil},
	{"light", "light", 900, 900, 1, nil}, {"dark", "dark", 900, 900, 1, nil},
	{"light, wide", "light", 1600, 1000, 1, nil}, {"dark, wide", "dark", 1600, 1000, 1, nil},
	{"at 200 %", "light", 640, 450, 2, []string{"prefers-reduced-motion", "reduce"}},
	{"forced colours", "", 900, 900, 1, []string{"forced-colors", "active", "prefers-color-scheme", "dark"}},
}

// stands is true once nothing on the page moves by itself any more.
const stands = `document.getAnimations().every((a) => a.playState !== 'running') && await new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(() => r(true))))`

// wear brings the page into a dress.
func (p *page) wear(d dress) {
	p.T.Helper()
	p.Size(d.width, d.height, d.zoom)
	p.Media(d.media...)
	p.JS(`void (document.documentElement.dataset.theme = '`+d.theme+`', dispatchEvent(new Event('theme')))`, nil)
	p.Until("it stands still", stands)
}

// Every screen in every state is held against WCAG in both themes, narrow, wide,
// enlarged and in forced colours; and none has to be scrolled sideways (1.4.10).
func TestEveryScreenCanBeUsed(t *testing.T) {
	source := axeSource(t)
	s := everyState(t, func(s *shown, state string) {
		for _, d := range dresses {
			s.p.wear(d)
			name := state + ", " + d.name
			s.p.axe(source, name, len(d.media) > 0 && d.media[0] == "forced-colors")
			s.p.fits(name)
			s.p.Look(strings.NewReplacer(" ", "-", ",", "", "%", "").Replace(name))
		}
		s.p.wear(dresses[2])
	})
	t.Logf("%d states, %d dresses each", s.seen, len(dresses))
}

// fits wants that the page is no wider than the window.
func (p *page) fits(state string) {
	p.T.Helper()
	var got struct {
		Scroll, Client int
		Wide           []string
	}
	p.JS(`(() => { const e = document.documentElement, over = e.scrollWidth > e.clientWidth
		return {scroll: e.scrollWidth, client: e.clientWidth, wide: over ? [...document.querySelectorAll('body *')].filter((x) => x.getBoundingClientRect().right > e.clientWidth + 1).slice(0, 6).map((x) => x.tagName + '.' + x.className) : []} })()`, &got)
	if got.Scroll > got.Client {
		p.T.Errorf("%s: %d wide in a window of %d: %v", state, got.Scroll, got.Client, got.Wide)
	}
}
