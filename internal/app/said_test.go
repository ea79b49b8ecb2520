package app

import (
	"context"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"earshot/internal/align"
	"earshot/internal/shoot"
	"earshot/internal/store"
)

// measuredLesson is the demo's lesson, measured, with a folder for its words.
func measuredLesson(t *testing.T) (a *App, dir, folder string, d *Day) {
	t.Helper()
	a, _ = newApp(t)
	dir, folder = t.TempDir(), t.TempDir()
	writeLesson(t, dir)
	s, err := store.OpenShoot(folder) // as the desk does
	if err == nil {
		err = s.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	return a, dir, folder, measureIt(t, a, dir, folder)
}

func measureIt(t *testing.T, a *App, dir, folder string) *Day {
	t.Helper()
	d, err := a.Measure(context.Background(), PairOptions{Paths: []string{dir}, Shoot: folder})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func say(t *testing.T, a *App, dir, folder string, sayings ...Saying) {
	t.Helper()
	done, err := a.Say(context.Background(), SayOptions{Paths: []string{dir}, Shoot: folder, Say: sayings})
	if err != nil || len(done) != len(sayings) {
		t.Fatalf("said %q, %v", done, err)
	}
}

// What a person laid 1 ms later comes out 1 ms late, under the name they gave,
// and the report says who said so.
func TestMarryHeedsWords(t *testing.T) {
	a, dir, folder, d := measuredLesson(t)
	c := d.Choices(nil)[0]
	line := c.Line()
	line.Offset -= 0.001
	at, name := &line, "First: the plane"
	say(t, a, dir, folder, Saying{c.Clip().Path(), shoot.Change{Line: &at}}, Saying{c.Clip().Name(), shoot.Change{Name: &name}})

	result, err := a.Marry(context.Background(), MarryOptions{Paths: []string{dir}, To: t.TempDir(), Shoot: folder})
	if err != nil {
		t.Fatal(err)
	}
	got := result.Clips[0]
	if got.State != Written || got.Proof == nil || math.Abs(got.Proof.Late-1) > 0.02 {
		t.Errorf("laid 1 ms later by hand: %s %s, proof %+v, want 1 ms late", got.State, got.Error, got.Proof)
	}
	if base := filepath.Base(got.Out); base != "First- the plane_married.mov" {
		t.Errorf("it is called %q", base)
	}
	if !strings.Contains(strings.Join(got.Said, "; "), "laid 1.00 ms later than measured, by hand") {
		t.Errorf("said: %q", got.Said)
	}
	if math.Abs(got.Take.Offset-c.Take().Offset) > 0 {
		t.Errorf("the measured offset %g was changed to %g: a word stands beside it", c.Take().Offset, got.Take.Offset)
	}
}

// A pair that was refused is neither a take nor married, and taking the refusal
// back brings it again.
func TestRefusedIsNoTake(t *testing.T) {
	a, dir, folder, d := measuredLesson(t)
	c := d.Choices(nil)[0]
	say(t, a, dir, folder, Saying{c.Clip().Path(), shoot.Change{Refused: &[]string{c.Sound().Path()}}})
	doc := measureIt(t, a, dir, folder).Result().Document
	told := 0
	for _, lone := range doc.Alone {
		other := map[string]string{c.Clip().Path(): c.Sound().Name(), c.Sound().Path(): c.Clip().Name()}[lone.Path]
		if other == "" {
			continue
		}
		if told++; lone.Why[0] != "you said that \""+other+"\" does not belong to it" {
			t.Errorf("%s is alone since %q", lone.Path, lone.Why)
		}
	}
	if told != 2 {
		t.Errorf("%d of the two are alone: %+v", told, doc.Alone)
	}
	for _, take := range doc.Takes {
		if take.Clip == c.Clip().Path() && take.Sound == c.Sound().Path() {
			t.Errorf("the pair was refused and is still a take: %+v", take)
		}
	}
	if _, err := a.Say(context.Background(), SayOptions{Paths: []string{dir}, Shoot: folder, Undo: 1}); err != nil {
		t.Fatal(err)
	}
	if n := len(measureIt(t, a, dir, folder).Result().Document.Takes); n != 4 {
		t.Errorf("%d takes after taking the refusal back, want 4", n)
	}
}

// A pair that only a person makes lies where they laid it and is married once
// they approve it.
func TestPairByHand(t *testing.T) {
	a, dir, folder, d := measuredLesson(t)
	var c *Choice
	for _, have := range d.Choices(nil) {
		if have.Clip().Name() == "C0008.MP4" {
			c = have
		}
	}
	var other *Recording
	for _, r := range d.Recordings() {
		if r.Kind() == "sound" && r.Path() != c.Sound().Path() {
			other = r
		}
	}
	path, line := other.Path(), &shoot.Line{Offset: 2.5}
	say(t, a, dir, folder, Saying{c.Clip().Path(), shoot.Change{Sound: &path, Line: &line}})
	d = measureIt(t, a, dir, folder)
	got := d.Choice(c.Clip(), d.words[d.Key(c.Clip())])
	if !got.Hand() || got.Sound().Path() != path || got.Line() != *line || got.Settled() {
		t.Fatalf("hand %v, sound %s at %+v, settled %v", got.Hand(), got.Sound().Name(), got.Line(), got.Settled())
	}
	if got.Clip().Name() != "C0008.MP4" || len(got.Laid().Spans) != 1 {
		t.Errorf("laid %+v", got.Laid())
	}
	yes := true
	say(t, a, dir, folder, Saying{c.Clip().Path(), shoot.Change{Approved: &yes}})
	result, err := a.Marry(context.Background(), MarryOptions{Paths: []string{dir}, To: t.TempDir(), Shoot: folder, Only: []string{c.Clip().Path()}})
	if err != nil {
		t.Fatal(err)
	}
	if len(result.Clips) != 1 || result.Clips[0].State != Written || result.Clips[0].Sound != path {
		t.Errorf("%+v", result.Clips)
	}
}

// Near finds the place again from somewhere near it, and nothing where there is
// nothing.
func TestNear(t *testing.T) {
	_, _, _, d := measuredLesson(t)
	c := d.Choices(nil)[0]
	for _, off := range []float64{0, 0.04, -0.31, 0.45} {
		got, why, err := d.Near(context.Background(), c.Clip(), c.Sound(), 5, c.laid.found.At(5)+off)
		if err != nil || got == nil {
			t.Fatalf("%g s off: %v, %s", off, err, why)
		}
		if late := math.Abs(got.laid.found.At(5) - c.laid.found.At(5)); late > 20e-6 {
			t.Errorf("from %g s off it is found %g s off", off, late)
		}
	}
	for _, r := range d.Recordings() {
		if r.Kind() == "sound" && r.Path() != c.Sound().Path() {
			if got, why, err := d.Near(context.Background(), c.Clip(), r, 5, 8); got != nil || why == "" || err != nil {
				t.Errorf("found in %s: %+v, %q, %v", r.Name(), got, why, err)
			}
			break
		}
	}
}

// The error told of each window covers what the windows truly miss the line by:
// about two thirds within one, by the scatter they are taken from.
func TestEvidenceErrorsCover(t *testing.T) {
	_, _, _, d := measuredLesson(t)
	in, all := 0, 0
	for _, c := range d.Choices(nil) {
		f := &c.was.found
		for _, w := range c.Evidence().Windows {
			if !w.Clear {
				continue
			}
			all++
			if math.Abs(w.Sound-f.At(w.At)) <= w.Error {
				in++
			}
		}
	}
	if share := float64(in) / float64(all); all < 30 || share < 0.45 || share > 0.85 {
		t.Errorf("%d of %d windows are within their error, want about two thirds", in, all)
	}
}

// Moving a take that has several spans moves each as much and keeps what was
// lost between them.
func TestLaidAtKeepsLosses(t *testing.T) {
	f := alignFound(0, 60, 10, 20e-6)
	first := firstLine(&f)
	line := alignmentOf(shoot.Line{Offset: first.Offset + 0.25, Drift: first.Drift*1e6 + 5})
	got := laidAt(f, line, 60, 100)
	for _, at := range []float64{1, 20, 40, 59} {
		if by := got.At(at) - f.At(at); math.Abs(by-(0.25+5e-6*at)) > 1e-12 {
			t.Errorf("at %g s it moved by %g s", at, by)
		}
	}
	if f.Spans[0].Offset != first.Offset {
		t.Error("what was measured was changed")
	}
}

// alignFound is a measurement with a loss of 30 ms in its middle.
func alignFound(from, to, offset, drift float64) align.Found {
	mid := (from + to) / 2
	line := align.Alignment{Offset: offset, Drift: drift}
	after := align.Alignment{Offset: offset - 0.03, Drift: drift}
	return align.Found{Alignment: line, From: from, To: to, Mid: mid, Spans: []align.Span{
		{From: from, To: mid, Alignment: line, Mid: from}, {From: mid, To: to, Alignment: after, Mid: to, Lost: 0.03}}}
}

// What Near found is what is seen once a person lays the two there.
func TestNearIsRemembered(t *testing.T) {
	_, _, _, d := measuredLesson(t)
	c := d.Choices(nil)[0]
	i, k := 0, 0
	for n, r := range d.clips {
		if r == c.laid.clip {
			i = n
		}
	}
	for n, r := range d.sounds {
		if r == c.laid.sound {
			k = n
		}
	}
	d.measured.links[i][k], d.takes = nil, nil // as if nobody had measured the two
	line := c.Line()
	line.Offset += 0.01
	w := shoot.Word{Sound: d.Key(c.Sound()), Line: &line}
	if got := d.Choice(c.Clip(), w); got == nil || len(got.Evidence().Windows) != 0 || got.Moved() != 0 {
		t.Fatalf("before anything is measured: %+v", got)
	}
	if got, _, err := d.Near(context.Background(), c.Clip(), c.Sound(), 5, c.Heard(5)); got == nil || err != nil {
		t.Fatal(got, err)
	}
	got := d.Choice(c.Clip(), w)
	if len(got.Evidence().Windows) == 0 || math.Abs(got.Moved()+0.01) > 1e-4 || got.Line() != line {
		t.Errorf("moved by %g s, at %+v, %d windows; want it 10 ms earlier than measured", got.Moved(), got.Line(), len(got.Evidence().Windows))
	}
}
