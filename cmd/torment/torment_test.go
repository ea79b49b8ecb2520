package main

import (
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"earshot/internal/media/ffmpeg"
)

func TestMain(m *testing.M) {
	if handled, status := ffmpeg.ChildMain(os.Args); handled {
		os.Exit(status)
	}
	os.Exit(m.Run())
}

// A little of each torment; docs/testing.md has the figures of the full one.
func TestTorment(t *testing.T) {
	if testing.Short() {
		t.Skip("kills and breaks for a minute")
	}
	for _, o := range []options{{engine: "native", kills: 5, broken: 20}, {engine: "embedded", kills: 2}} {
		if _, err := exec.LookPath("ffmpeg"); err != nil && o.engine == "native" {
			o.engine = "embedded"
		}
		o.seed, o.keep, o.say = 1, t.TempDir(), func(line string) { t.Log(line) }
		wrongs, err := torment(t.Context(), o)
		if err != nil {
			t.Fatal(err)
		}
		for _, w := range wrongs {
			t.Error(w)
		}
	}
}

// The tool itself must see what is wrong: a checker that passes everything is
// none.
func TestWrongsAreSeen(t *testing.T) {
	dir := t.TempDir()
	put := func(name, content string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	put("a.mov", "whole")
	put("report.json", "{}")
	want, err := look(dir)
	if err != nil {
		t.Fatal(err)
	}
	for name, spoil := range map[string]func(){
		"cut":       func() { put("a.mov", "who") },
		"changed":   func() { put("a.mov", "whale") },
		"part left": func() { put(".earshot-1-x.part", "") },
		"report":    func() { put("report.json", "{") },
		"gone":      func() { os.Remove(filepath.Join(dir, "a.mov")) },
	} {
		r := &rig{}
		spoil()
		got, err := look(dir)
		if err != nil {
			t.Fatal(err)
		}
		if r.same(name, dir, got, want); len(r.wrongs) == 0 {
			t.Errorf("%s is not seen", name)
		}
		os.Remove(filepath.Join(dir, ".earshot-1-x.part"))
		put("a.mov", "whole")
		put("report.json", "{}")
	}
	r := &rig{}
	if r.unchanged("touched", want, picture{"a.mov": {size: 5, modified: time.Now()}}); len(r.wrongs) != 2 {
		t.Errorf("changes of originals are not seen: %q", r.wrongs)
	}
	for _, text := range []string{"", `read "x.mov"`, "read \"x.mov\": it is \x1b[31mbroken; mend it", `read "x.mov": it is broken`} {
		r := &rig{}
		if r.clear("", "x.mov", text); len(r.wrongs) == 0 {
			t.Errorf("%q passes for a clear error", text)
		}
	}
}

// Every breakage takes files of any length, down to a few bytes, and follows
// from the seed.
func TestBreakages(t *testing.T) {
	for _, b := range breakages {
		for _, n := range []int{8, 9, 100, 5000} {
			content := make([]byte, n)
			for i := range content {
				content[i] = byte(i)
			}
			one := b.do(rand.New(rand.NewPCG(3, 4)), append([]byte(nil), content...))
			two := b.do(rand.New(rand.NewPCG(3, 4)), append([]byte(nil), content...))
			if string(one) != string(two) {
				t.Errorf("%s of %d bytes differs from time to time", b.name, n)
			}
			if string(one) == string(content) && b.name != "misnamed" {
				t.Errorf("%s of %d bytes breaks nothing", b.name, n)
			}
		}
	}
}
