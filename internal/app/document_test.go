package app

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/match"
	"earshot/internal/media/mediatest"
	"earshot/internal/shoot"
)

// holdsSchema writes a document as JSON and holds it against
// docs/pair.schema.json.
func holdsSchema(t *testing.T, doc shoot.Document) {
	t.Helper()
	text, err := os.ReadFile(filepath.FromSlash("../../docs/pair.schema.json"))
	if err != nil {
		t.Fatal(err)
	}
	schema, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("pair.schema.json", schema); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("pair.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(doc)
	if err != nil {
		t.Errorf("as JSON: %v", err)
		return
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Validate(v); err != nil {
		t.Errorf("%v\n%s", err, b)
	}
}

// everyOnce counts that every recording stands in the document: as a member of
// takes, or once as alone, or once as failed.
func everyOnce(t *testing.T, doc *shoot.Document, paths []string) {
	t.Helper()
	taken, rest := map[string]bool{}, map[string]int{}
	for _, take := range doc.Takes {
		taken[take.Clip], taken[take.Sound] = true, true
	}
	for _, a := range doc.Alone {
		rest[a.Path]++
	}
	for _, f := range doc.Failed {
		rest[f.Path]++
	}
	for _, p := range paths {
		if taken[p] && rest[p] != 0 || !taken[p] && rest[p] != 1 {
			t.Errorf("%s: in a take %v, %d times beside", p, taken[p], rest[p])
		}
	}
}

// A shoot of all kinds, oddities among them: what is printed keeps its schema,
// and every recording stands in it once.
func TestDocumentKeepsItsSchema(t *testing.T) {
	dir := t.TempDir()
	writeLesson(t, dir)
	var paths []string
	put := func(name string, f mediatest.File) {
		path := filepath.Join(dir, name)
		writeFake(t, path, f)
	}
	rate := dsp.ProxyRate
	inf, nan := float32(math.Inf(1)), float32(math.NaN())
	good := lesson().sounds[0]
	spoilt := append([]float32(nil), good...)
	for i := range 50 {
		spoilt[len(spoilt)/2+i*700], spoilt[len(spoilt)/3+i*900] = inf, nan
	}
	steady := make([]float32, 3*rate)
	for i := range steady {
		steady[i] = 0.5
	}
	put("X1/silent.MP4", clipOf(rate, 1, make([]float32, 5*rate)))
	put("X1/moment.MP4", clipOf(rate, 1, lesson().clips[0][5*rate:6*rate+rate/2]))
	put("X1/sample.MP4", clipOf(rate, 1, []float32{0.1}))
	put("X1/nothing.MP4", clipOf(rate, 1, nil))
	mute := clipOf(rate, 1, nil)
	mute.Info.Sounds, mute.Sounds = nil, nil
	put("X1/mute.MP4", mute)
	put("X2/spoilt.wav", soundFile(rate, 1, spoilt))
	put("X2/steady.wav", soundFile(rate, 1, steady))
	put("X2/moment.wav", soundFile(rate, 1, good[5*rate:6*rate+rate/2]))
	put("X2/empty.wav", soundFile(rate, 1, nil))
	if err := os.WriteFile(filepath.Join(dir, "X2", "broken.wav"), []byte("RIFF"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, pattern := range []string{"*/*.MP4", "*/*.wav", "*/*.mp4", "*/*.m4a"} {
		found, _ := filepath.Glob(filepath.Join(dir, pattern))
		paths = append(paths, found...)
	}
	a, _ := newApp(t)
	r, err := a.Pair(context.Background(), PairOptions{Paths: []string{dir}})
	if err != nil {
		t.Fatal(err)
	}
	holdsSchema(t, r.Document)
	everyOnce(t, &r.Document, paths)
	if len(paths) < 16 {
		t.Errorf("only %d recordings: %q", len(paths), paths)
	}
	for _, f := range r.Document.Failed {
		if name := filepath.Base(f.Path); name != "broken.wav" && name != "empty.wav" {
			t.Errorf("%s failed: %s", name, f.Error)
		}
	}
}

// foundOf is a measurement of a take with the windows given.
func foundOf(from, to, sigma float64, locals []align.Local, halves float64) *align.Found {
	return &align.Found{Alignment: align.Alignment{Offset: 2, Drift: 1e-5}, Strength: 20, Rest: 12, Mid: (from + to) / 2, MidSigma: 2e-5,
		DriftSigma: sigma, From: from, To: to, Locals: locals, Halves: halves}
}

// oddFinds are measurements at the edges of what there can be.
func oddFinds() map[string]*align.Found {
	heard := func(n int) []align.Local {
		l := make([]align.Local, n)
		for i := range l {
			l[i] = align.Local{At: 1 + float64(i), Left: 1e-4, Height: 10, Heard: true}
		}
		return l
	}
	nan, inf := math.NaN(), math.Inf(1)
	return map[string]*align.Found{
		"one window, no sigma":        foundOf(0, 1.2, inf, heard(1), nan),
		"no window heard":             foundOf(0, 40, 1e-6, []align.Local{{At: 3}, {At: 9}, {At: 20}, {At: 30}}, 2e-4),
		"no windows at all":           foundOf(0, 1, inf, nil, nan),
		"two heard":                   foundOf(0, 30, 3e-6, heard(2), nan),
		"many, certain beyond reason": foundOf(0, 4000, 0, heard(40), 0),
		"long and clueless":           foundOf(0, 50, inf, heard(3), nan),
		"hardly any length":           foundOf(1, 1, inf, heard(1), nan),
	}
}

// No measurement, however thin, brings a number into the document or a proof
// that JSON cannot hold.
func TestOddMeasurementsAsJSON(t *testing.T) {
	for name, f := range oddFinds() {
		t.Run(name, func(t *testing.T) {
			if !sane(f) {
				t.Fatal("held for damage")
			}
			m := &measurer{clips: []*recording{{path: "a.mov", tracks: make([]track, 1)}}, sounds: []*recording{{path: "a.wav", tracks: make([]track, 1)}}}
			l := &link{Found: f}
			m.links = [][]*link{{l}}
			for _, verdict := range []match.Verdict{match.Sure, match.Unsure} {
				dec := match.Decision{Verdict: verdict, Why: []string{"x"}}
				found, from, why := newDriftBook([]match.Decision{dec}, m).settle(0, 0, f)
				take := dayTake{clip: m.clips[0], sound: m.sounds[0], link: l, found: found}
				out := take.document(dec, from, append(dec.Why, why...))
				holdsSchema(t, shoot.Document{Version: 1, Takes: []shoot.Take{out}, Alone: []shoot.Alone{}, Failed: []shoot.Failed{}})
			}
			p := &Proof{Windows: []SeamPoint{}, Limits: []LimitCheck{}}
			p.fill(f, 0.003)
			p.judge(1.0 / 25)
			if _, err := json.Marshal(p); err != nil {
				t.Errorf("proof: %v", err)
			}
			if p.Seam.Of != len(f.Locals) || p.Seam.Median > p.Seam.P95 || p.Seam.P95 > p.Seam.Max || len(p.Limits) != len(limits) {
				t.Errorf("proof %+v", p)
			}
		})
	}
}

// What is no number anywhere in a measurement makes it worth nothing.
func TestSaneRefusesWhatIsNoNumber(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		for name, spoil := range map[string]func(*align.Found){
			"offset": func(f *align.Found) { f.Offset = bad }, "drift": func(f *align.Found) { f.Drift = bad },
			"strength": func(f *align.Found) { f.Strength = bad }, "rest": func(f *align.Found) { f.Rest = bad },
			"middle": func(f *align.Found) { f.Mid = bad }, "sigma": func(f *align.Found) { f.MidSigma = bad },
			"from": func(f *align.Found) { f.From = bad },
			"to":   func(f *align.Found) { f.To = bad }, "a window": func(f *align.Found) { f.Locals[1].Left = bad },
			"a window's time": func(f *align.Found) { f.Locals[1].At = bad },
			"drift's sigma": func(f *align.Found) {
				if f.DriftSigma = bad; math.IsInf(bad, 1) { // says that nothing is known
					f.DriftSigma = math.NaN()
				}
			},
			"halves": func(f *align.Found) {
				if f.Halves = bad; math.IsNaN(bad) { // says that there are too few windows
					f.Halves = math.Inf(1)
				}
			},
		} {
			f := foundOf(0, 30, 1e-6, []align.Local{{At: 1}, {At: 2}, {At: 3}}, 1e-5)
			if spoil(f); sane(f) {
				t.Errorf("%s of %g passes", name, bad)
			}
		}
	}
}

// The report of a day on which nothing was found is JSON without nulls where
// lists belong.
func TestReportOfNothing(t *testing.T) {
	a, _ := newApp(t)
	dir, to := t.TempDir(), t.TempDir()
	writeFake(t, filepath.Join(dir, "C1.MP4"), clipOf(16000, 1, make([]float32, 16000)))
	r, err := a.Marry(context.Background(), MarryOptions{Paths: []string{dir}, To: to})
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(r.Report)
	if err != nil {
		t.Fatal(err)
	}
	var rep map[string]any
	if err := json.Unmarshal(b, &rep); err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"clips", "alone", "failed", "inputs", "notes"} {
		if _, ok := rep[key].([]any); !ok {
			t.Errorf("%s is %s, want a list", key, fmt.Sprint(rep[key]))
		}
	}
	if !strings.Contains(string(b), `"program": "earshot"`) {
		t.Errorf("program: %v", rep["program"])
	}
}
