package main

import (
	"context"
	_ "embed"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"os/exec"
	"testing"
	"time"

	"earshot/internal/media/ffmpeg"
	"earshot/internal/media/mediatest"
	"earshot/internal/scene"
)

// heardJS renders in the page what the page's own listener plays.
//
//go:embed testdata/heard.js
var heardJS string

const heardRate = 48000 // Hz of everything the page plays

// rendering asks heard.js for a rendering. Times are seconds.
type rendering struct {
	Take    string   `json:"take"`
	Sound   string   `json:"sound,omitempty"`
	Length  float64  `json:"length"` // of the clip
	Seconds float64  `json:"seconds"`
	Mode    string   `json:"mode"`
	Volume  *float64 `json:"volume,omitempty"` // a gain; nil: as the page begins
	Matched bool     `json:"matched,omitempty"`
	Alone   bool     `json:"alone,omitempty"` // the clip without a sound
	Begin   float64  `json:"begin,omitempty"`
	Loop    []any    `json:"loop,omitempty"`
	Steps   [][]any  `json:"steps,omitempty"`
	Source  string   `json:"source,omitempty"` // instead of the take's sound
	At      int      `json:"at"`               // what the source is told, frames
}

// heard is what was rendered.
type heard struct {
	Frames int
	Match  struct {
		Body    float64 `json:"body_db"`
		Scratch float64 `json:"scratch_db"`
	}
	Quiet  string
	Volume float64
}

// renders plays a take in the page; ears gives what came out.
func (p *page) renders(r rendering) (out heard) {
	p.T.Helper()
	ask, err := json.Marshal(r)
	if err != nil {
		p.T.Fatalf("%v", err)
	}
	p.listening()
	p.JS("void window.heard.begin(window.heard.render("+string(ask)+"))", nil)
	for {
		var s struct {
			Done  bool
			Value heard
			Error string
		}
		if p.JS("window.heard.state", &s); s.Error != "" {
			p.T.Fatalf("render %s: %s", ask, s.Error)
		} else if s.Done {
			return s.Value
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// listening puts heard.js into the page.
func (p *page) listening() {
	p.T.Helper()
	p.JS("void (window.heard || (() => { "+heardJS+" })())", nil)
}

// sent is what the program sends of a take: body and scratch.
func (p *page) sent(take string, from, to int) [2][]float32 {
	p.T.Helper()
	p.listening()
	var frames int
	if p.JS(fmt.Sprintf("await window.heard.raw(%s, %d, %d)", quoted(take), from, to), &frames); frames != to-from {
		p.T.Fatalf("%d frames from %d to %d", frames, from, to)
	}
	return p.ears(0, frames)
}

// full is a rendering's volume that changes nothing.
func full() *float64 { v := 1.0; return &v }

func quoted(s string) string {
	b, _ := json.Marshal(s)
	return string(b)
}

// ears is a stretch of what was rendered last, left and right.
func (p *page) ears(from, to int) (out [2][]float32) {
	p.T.Helper()
	for side := range out {
		var text string
		p.JS(fmt.Sprintf("await window.heard.ear(%d, %d, %d)", side, from, to), &text)
		raw, err := base64.StdEncoding.DecodeString(text)
		if err != nil || len(raw) != 4*(to-from) {
			p.T.Fatalf("%d bytes of %d frames: %v", len(raw), to-from, err)
		}
		out[side] = make([]float32, to-from)
		for i := range out[side] {
			out[side][i] = math.Float32frombits(binary.LittleEndian.Uint32(raw[4*i:]))
		}
	}
	return out
}

// needs wants tools of this machine.
func needs(t testing.TB, tools ...string) {
	t.Helper()
	if testing.Short() {
		t.Skip("runs the whole program in a browser")
	}
	for _, tool := range tools {
		if _, err := exec.LookPath(tool); err != nil {
			mediatest.Missing(t, tool)
		}
	}
}

// writeScene writes a shoot that never happened into a folder.
func writeScene(t testing.TB, dir string, s *scene.Scene) *scene.Written {
	t.Helper()
	engine, err := ffmpeg.Open(ffmpeg.Options{Choice: "native", CacheDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer engine.Close()
	w, err := scene.Write(context.Background(), engine, dir, s, nil)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// take is a take of the desk by the name of its clip.
func (p *page) take(clip string) (take deskTake) {
	p.T.Helper()
	s := p.state()
	lengths := map[string]float64{}
	for _, r := range s.Recordings {
		lengths[r.ID] = r.Length
	}
	for _, r := range s.Recordings {
		for _, k := range s.Takes {
			if r.Name == clip && k.ID == r.ID {
				return deskTake{k.ID, k.Verdict, r.Length, k.Line}
			}
		}
	}
	p.T.Fatalf("no take of %s: %+v", clip, s)
	return take
}

// deskTake is what the listening tests need of a take.
type deskTake struct {
	id, verdict string
	length      float64 // of the clip, seconds
	line        line
}

// line is a shoot.Line as JSON has it.
type line struct {
	Offset float64 `json:"offset_s"`
	Drift  float64 `json:"drift_ppm"`
}

// measured waits until a desk with so many takes has measured them.
func (p *page) measured(takes int) {
	p.T.Helper()
	p.Until("the shoot is measured", fmt.Sprintf(`await fetch('/api/state').then((r) => r.json()).then((s) => !s.work.busy && s.takes.length === %d && s.takes.every((t) => t.verdict !== 'weighing'))`, takes))
}
