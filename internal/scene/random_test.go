package scene

import (
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
)

// shortTakes keeps test shoots small.
var shortTakes = Options{MinTakes: 5, MaxTakes: 8, MinTake: 5, MaxTake: 30}

func mustShoot(t *testing.T, seed uint64, opt Options) *Scene {
	t.Helper()
	s, err := RandomShoot(seed, opt)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestShootSameSeed renders a shoot twice.
func TestShootSameSeed(t *testing.T) {
	a, b := mustShoot(t, 7, shortTakes), mustShoot(t, 7, shortTakes)
	if !reflect.DeepEqual(a.Truth(), b.Truth()) {
		t.Fatal("the same seed gave two truths")
	}
	for i := range a.Clips[:2] {
		if !slices.Equal(a.Render(&a.Clips[i], 16000), b.Render(&b.Clips[i], 16000)) {
			t.Errorf("the same seed gave two sounds for %s", a.Clips[i].Name)
		}
	}
	if c := mustShoot(t, 8, shortTakes); reflect.DeepEqual(a.Truth(), c.Truth()) {
		t.Error("two seeds gave the same truth")
	}
}

// TestShootHasItAll checks that each shoot holds every situation promised, and
// that the notes agree with the truth.
func TestShootHasItAll(t *testing.T) {
	for seed := range uint64(6) {
		opt := Options{Boxes: true, Recorders: 1 + int(seed%2)}
		s := mustShoot(t, seed, opt)
		notes := strings.Builder{}
		for _, n := range s.Notes {
			notes.WriteString(n + ";")
		}
		for _, want := range []string{"retake", "false start", "starts late", "stops early",
			"several clips", "no sound belongs", "no clip belongs"} {
			if !strings.Contains(notes.String(), want) {
				t.Errorf("seed %d: nothing with %q", seed, want)
			}
		}
		mates := map[string]int{}
		for _, p := range s.Truth() {
			if p.Together() {
				mates[s.Clips[p.Clip].Name]++
				mates[s.Sounds[p.Sound].Name]++
			}
			if math.Abs(p.Drift) > 101e-6 {
				t.Errorf("seed %d: drift %g", seed, p.Drift)
			}
		}
		long := 0.0
		for _, d := range append(s.Clips, s.Sounds...) {
			if alone := strings.Contains(s.Notes[d.Name], "belongs to it"); alone != (mates[d.Name] == 0) {
				t.Errorf("seed %d: %s (%s) has %d mates", seed, d.Name, s.Notes[d.Name], mates[d.Name])
			}
			long = max(long, d.Length)
		}
		if long < 300 {
			t.Errorf("seed %d: longest recording %g s, want one over five minutes", seed, long)
		}
	}
}

// TestNothingTwice checks that no phrase is said twice at nearly the same
// speed in an hour of talk.
func TestNothingTwice(t *testing.T) {
	s := mustShoot(t, 3, Options{Boxes: true, MinTakes: 12, MaxTakes: 12, MinTake: 280, MaxTake: 330})
	said := map[*Excerpt][]float64{}
	total := 0.0
	for _, u := range s.Talk {
		if u.Clap {
			continue
		}
		total += u.Excerpt.Length() / u.Speed
		for _, was := range said[u.Excerpt] {
			if math.Abs(was/u.Speed-1) < 0.005 {
				t.Errorf("%s said at speed %.3f and %.3f", u.Excerpt.Name, was, u.Speed)
			}
		}
		said[u.Excerpt] = append(said[u.Excerpt], u.Speed)
	}
	t.Logf("%.0f minutes of speech from %d phrases", total/60, len(said))
	if total < 2400 {
		t.Errorf("%.0f s of speech, want 40 minutes at least", total)
	}
}
