package main

import (
	"bytes"
	"context"
	"math"
	"strings"
	"testing"

	"earshot/internal/app"
	"earshot/internal/scene"
	"earshot/internal/shoot"
)

// A small heap of each kind: nothing of different moments is sure, and where
// there is talk and no more than that, right pairs are.
func TestNoKindFoolsTheVerdict(t *testing.T) {
	r, err := newRig()
	if err != nil {
		t.Fatal(err)
	}
	r.heard = boxes()[:2]
	for _, kind := range scene.Likenesses() {
		h := r.heapOf(kind, 9)
		h.Moments, h.Clip, h.Sound = 5, [2]float64{8, 14}, [2]float64{16, 24}
		all, err := r.heap(context.Background(), h)
		if err != nil {
			t.Fatal(err)
		}
		var c kindCount
		sure := 0
		for _, m := range all {
			c.add(m)
			if m.right && m.placed && m.Verdict == shoot.Sure {
				sure++
			}
			if m.take != nil && (m.take.Chance <= 0 || m.take.Chance > 1) {
				t.Errorf("%s: a take states a chance of error of %g", kind, m.take.Chance)
			}
			if m.take != nil && m.take.Verdict == shoot.Sure && len(m.take.Candidates) > 0 {
				t.Errorf("%s: sure, with %d candidates", kind, len(m.take.Candidates))
			}
		}
		if c.strangers < 8 || c.wrongSure > 0 || c.mislaid > 0 {
			t.Errorf("%s: of %d meetings of different moments %d are sure; mislaid and sure: %d", kind, c.strangers, c.wrongSure, c.mislaid)
		}
		switch kind {
		case scene.SameVoice, scene.Retakes, scene.SameSong, scene.SameMains:
			if sure < 2 {
				t.Errorf("%s: only %d right pairs are sure", kind, sure)
			}
		}
	}
}

// No error among n bounds the rate at about 3/n; otherwise the interval is
// Wilson's: 10 of 100 give 5.5 to 17.4 % (Newcombe 1998, from memory).
func TestBounds(t *testing.T) {
	if got := bound(0, 35_800); math.Abs(1/got-11_950) > 10 {
		t.Errorf("none of 35,800: 1 in %.0f, want 1 in 11,950", 1/got)
	}
	if low, high := interval(10, 100); math.Abs(low-0.0552) > 2e-4 || math.Abs(high-0.1744) > 2e-4 {
		t.Errorf("10 of 100: %.4f to %.4f", low, high)
	}
}

// A wrong take is counted in the row of its stated chance.
func TestReliabilityCounts(t *testing.T) {
	take := func(chance float64, right bool) meeting {
		return meeting{right: right, placed: right, take: &shoot.Take{Chance: chance, Verdict: shoot.Unsure}}
	}
	var b bytes.Buffer
	reliability(&b, []meeting{take(0.4, true), take(0.45, false), take(0.004, true), {right: false, Meeting: app.Meeting{Strength: 5}}})
	for _, want := range []string{"| 0.3 to 0.5 | 2 | 0 | 0.43 | 1 | 0.5 |", "| 0.001 to 0.01 | 1 | 0 | 0.004 | 0 | 0 |"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("lacks %q:\n%s", want, b.String())
		}
	}
}
