package main

import (
	"encoding/binary"
	"encoding/xml"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"earshot/internal/dsp"
)

// later makes a sound of noise that comes and goes, and a clip cut out of it
// from sample at on.
func later(at, n int) (clip, sound []float32) {
	rng := rand.New(rand.NewPCG(5, 5))
	sound = make([]float32, at+n+16000)
	for i := range sound {
		swell := 0.2 + math.Pow(math.Sin(float64(i)/5000+math.Sin(float64(i)/1700)), 2)
		sound[i] = float32(0.1 * swell * rng.NormFloat64())
	}
	return sound[at : at+n], sound
}

// On a clip cut out of the sound all methods that look at samples find the cut.
func TestYardsticksFindACut(t *testing.T) {
	const at, n = 33333, 64000
	clip, sound := later(at, n)
	want := (at + n/2.0) / dsp.ProxyRate
	for _, y := range yardsticks {
		within := 1e-6
		if y.name == "envelopes" {
			within = 0.005
		}
		if got := y.measure(clip, sound); math.Abs(got-want) > within {
			t.Errorf("%s: %.6f s, want %.6f", y.name, got, want)
		}
	}
}

// Plain correlation is SciPy's: scipy.signal.correlate on the same samples has
// its largest magnitude at the same lag.
func TestPlainCorrelationIsSciPys(t *testing.T) {
	clip, sound := later(4321, 8000)
	clip = append([]float32(nil), clip...)
	for i := range clip { // something else is heard over it, so that it is no mere cut
		clip[i] += sound[i] / 2
	}
	dir := t.TempDir()
	for name, x := range map[string][]float32{"clip": clip, "sound": sound} {
		var b []byte
		for _, v := range x {
			b = binary.LittleEndian.AppendUint32(b, math.Float32bits(v))
		}
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	const script = `import sys, numpy as np
from scipy.signal import correlate
c, s = (np.fromfile(sys.argv[1] + "/" + n, "<f4").astype(float) for n in ("clip", "sound"))
print(int(np.argmax(np.abs(correlate(s, c, "valid")))))`
	out, err := exec.Command("/usr/bin/python3", "-c", script, dir).Output()
	if err != nil {
		if os.Getenv("EARSHOT_REFERENCE") != "" {
			t.Fatalf("python3 with SciPy: %v", err)
		}
		t.Skip("python3 with SciPy is not installed")
	}
	theirs, err := strconv.Atoi(strings.TrimSpace(string(out)))
	if err != nil {
		t.Fatal(err)
	}
	ours := correlated(clip, sound, 0)*dsp.ProxyRate - float64(len(clip))/2
	if math.Abs(ours-float64(theirs)) > 0.5 {
		t.Errorf("we lay the clip on sample %.2f, SciPy on %d", ours, theirs)
	}
}

// The quick form fails when something is wrong and sure, or too little sure.
func TestWorseThanKnown(t *testing.T) {
	good := result{found: true, sure: true, right: true}
	mislaid := result{found: true, sure: true}
	for _, tt := range []struct {
		name    string
		results []result
		fails   bool
	}{
		{"as known", []result{good, good, {}}, false},
		{"an unsure one laid wrong", []result{good, good, {found: true}}, false},
		{"too few", []result{good, {}, {}}, true},
		{"sure of a wrong one", []result{good, good, mislaid}, true},
	} {
		table := table{rows: []*row{{cell{name: "a cell", least: 0.5}, tt.results}}}
		if err := table.worseThanKnown(); (err != nil) != tt.fails {
			t.Errorf("%s: %v", tt.name, err)
		}
	}
}

// Tables go between their marks, and nowhere else.
func TestBetweenTheMarks(t *testing.T) {
	page := "before\n<!-- cells -->\nold\n<!-- end of cells -->\nafter\n"
	got, err := between(page, "cells", "new\n")
	if want := "before\n<!-- cells -->\n\nnew\n\n<!-- end of cells -->\nafter\n"; err != nil || got != want {
		t.Errorf("between = %q, %v, want %q", got, err, want)
	}
	if _, err := between("no marks", "cells", "new"); err == nil {
		t.Error("a page without marks is taken")
	}
}

// The picture is well-formed and has a dot for each ratio that found anything.
func TestPicture(t *testing.T) {
	svg := picture([]spread{{snr: -18, lost: 5, of: 5, bound: 2e-5}, {snr: 0, sigma: 6e-7, bound: 5e-7, of: 5}, {snr: 30, sigma: 5e-8, bound: 1e-8, of: 5, lost: 1}})
	dec := xml.NewDecoder(strings.NewReader(svg))
	dots := 0
	for {
		token, err := dec.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if e, ok := token.(xml.StartElement); ok && e.Name.Local == "circle" {
			dots++
		}
	}
	if dots != 2 {
		t.Errorf("%d dots, want 2", dots)
	}
}

// A normal error lies within one sigma in 68.27 % of cases and within two in
// 95.45 % (ISO/IEC Guide 98-3, annex G): the quantiles of one are covered, and
// not those of one stated half or twice as wide.
func TestUncovered(t *testing.T) {
	var right, narrow, wide []float64
	for i := range 500 {
		z := math.Sqrt2 * math.Erfinv((float64(i)+0.5)/500)
		right, narrow, wide = append(right, z), append(narrow, 2*z), append(wide, z/2)
	}
	for _, tt := range []struct {
		offsets, drifts []float64
		want            string
	}{{right, right, ""}, {narrow, right, "offset"}, {right, wide, "drift"}, {wide, narrow, "offset, drift"}} {
		for _, chance := range []float64{0, 2} {
			if got := uncovered(tt.offsets, tt.drifts, chance); got != tt.want {
				t.Errorf("past %g deviations: %q, want %q", chance, got, tt.want)
			}
		}
	}
	// Of twenty, fifteen within one sigma are 75 %, but five more or less are nothing.
	some := append(slices.Repeat([]float64{0.5}, 15), slices.Repeat([]float64{1.5}, 4)...)
	some = append(some, 2.5)
	if got := uncovered(some, some, 0); got != "offset, drift" {
		t.Errorf("15 of 20 within one sigma: %q", got)
	}
	if got := uncovered(some, some, 2); got != "" {
		t.Errorf("15 of 20 within one sigma, by more than chance: %q", got)
	}
}
