package match

import (
	"math"
	"strings"
	"testing"
)

func good(clip, sound int, start float64) Link {
	return Link{Clip: clip, Sound: sound, Strength: 60, Rest: 50, Score: 20, From: 0, To: 30, Start: start,
		Halves: 0.00001, HalfHeights: [2]float64{40, 40}, Lead: 2, Beyond: 30}
}

func with(l Link, change func(*Link)) Link {
	change(&l)
	return l
}

func verdicts(ds []Decision) map[[2]int]Verdict {
	out := map[[2]int]Verdict{}
	for _, d := range ds {
		out[[2]int{d.Link.Clip, d.Link.Sound}] = d.Verdict
	}
	return out
}

func TestAssign(t *testing.T) {
	camera := []Party{{Device: "cam", Order: 0}, {Device: "cam", Order: 1}, {Device: "cam", Order: 2}}
	phone := []Party{{Device: "phone", Order: 0}, {Device: "phone", Order: 1}, {Device: "phone", Order: 2}}
	weak := func(l *Link) { l.Strength, l.Rest = 12, 8 }
	for _, tt := range []struct {
		name  string
		links []Link
		want  map[[2]int]Verdict
	}{
		{"clear takes", []Link{good(0, 0, 5), good(1, 1, 5)}, map[[2]int]Verdict{{0, 0}: Sure, {1, 1}: Sure}},
		{"one sound holds two clips", []Link{good(0, 0, 5), good(1, 0, 50)}, map[[2]int]Verdict{{0, 0}: Sure, {1, 0}: Sure}},
		{"noise is nothing", []Link{with(good(0, 0, 5), func(l *Link) { l.Strength = 9 })}, map[[2]int]Verdict{}},
		{"one moment is nothing", []Link{with(good(0, 0, 5), func(l *Link) { l.Rest = 3 })}, map[[2]int]Verdict{}},
		{"faint is unsure", []Link{with(good(0, 0, 5), weak)}, map[[2]int]Verdict{{0, 0}: Unsure}},
		{"halves that disagree", []Link{with(good(0, 0, 5), func(l *Link) { l.Halves = 0.005 })}, map[[2]int]Verdict{{0, 0}: Unsure}},
		{"music behind other talk", []Link{with(good(0, 0, 5), func(l *Link) { l.Lead = 0.2 })}, map[[2]int]Verdict{{0, 0}: Unsure}},
		{"music and no talk", []Link{with(good(0, 0, 5), func(l *Link) { l.Steady = 0.4 })}, map[[2]int]Verdict{{0, 0}: Unsure}},
		{"talk over a steady hum", []Link{with(good(0, 0, 5), func(l *Link) { l.Steady = 0.25 })}, map[[2]int]Verdict{{0, 0}: Sure}},
		{"talk that hardly rises over music", []Link{with(good(0, 0, 5), func(l *Link) { l.Steady, l.Lead = 0.24, 0.77 })}, map[[2]int]Verdict{{0, 0}: Unsure}},
		{"talk as little loud and no music", []Link{with(good(0, 0, 5), func(l *Link) { l.Steady, l.Lead = 0.1, 0.77 })}, map[[2]int]Verdict{{0, 0}: Sure}},
		{"claps alike", []Link{with(good(0, 0, 5), func(l *Link) { l.Beyond = 1 })}, map[[2]int]Verdict{{0, 0}: Unsure}},
		{"nothing known of the loudest", []Link{with(good(0, 0, 5), func(l *Link) { l.Lead, l.Beyond = math.NaN(), math.NaN() })}, map[[2]int]Verdict{{0, 0}: Sure}},
		{"a record played again and again", []Link{good(0, 0, 5), good(0, 1, 9), good(1, 0, 7)},
			map[[2]int]Verdict{{0, 0}: Unsure, {0, 1}: Unsure, {1, 0}: Unsure}},
		{"a faint half proves nothing", []Link{with(good(0, 0, 5), func(l *Link) { l.Halves, l.HalfHeights[1] = 0.005, 3 })}, map[[2]int]Verdict{{0, 0}: Sure}},
		{"two clips of one camera at once, one much fainter", []Link{good(0, 0, 5), with(good(1, 0, 10), func(l *Link) { l.Strength = 20 })},
			map[[2]int]Verdict{{0, 0}: Sure}},
		{"two clips of one camera at once, alike", []Link{good(0, 0, 5), good(1, 0, 10)}, map[[2]int]Verdict{{0, 0}: Unsure, {1, 0}: Unsure}},
		{"two recorders that look like one", []Link{good(0, 0, 5), good(0, 1, 9)}, map[[2]int]Verdict{{0, 0}: Sure, {0, 1}: Sure}},
		{"a faint one against the order", []Link{good(0, 1, 5), with(good(1, 0, 5), weak)}, map[[2]int]Verdict{{0, 1}: Sure, {1, 0}: Unsure}},
		{"a clap in silence goes to the sound that no other has", []Link{good(0, 0, 5),
			with(good(1, 0, 90), clapOnly(9)), with(good(1, 1, 5), clapOnly(8.5))}, map[[2]int]Verdict{{0, 0}: Sure, {1, 1}: Unsure}},
		{"a clap amid talk that does not match", []Link{with(good(1, 1, 5), func(l *Link) { l.Strength, l.Rest, l.Claps = 9, 1, 1 })}, map[[2]int]Verdict{}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := verdicts(Assign(camera, phone, tt.links))
			if len(got) != len(tt.want) {
				t.Fatalf("got %v, want %v", got, tt.want)
			}
			for k, v := range tt.want {
				if got[k] != v {
					t.Errorf("clip %d with sound %d: %v, want %v", k[0], k[1], got[k], v)
				}
			}
		})
	}
}

func clapOnly(strength float64) func(*Link) {
	return func(l *Link) {
		l.Strength, l.Rest, l.Claps, l.Thin, l.Halves = strength, 1, 1, true, math.NaN()
	}
}

// Of two clips of one camera whose claps lie on one in one sound, the better
// matched has it, whichever was heard of first: the same shoot is told the same way
// each time.
func TestAssignOfTwoClapsOnOneTheBetter(t *testing.T) {
	camera := []Party{{Device: "cam", Order: 0}, {Device: "cam", Order: 1}, {Device: "cam", Order: 2}}
	links := []Link{with(good(0, 0, 5), clapOnly(8)), with(good(1, 0, 6), clapOnly(9)), with(good(2, 0, 7), clapOnly(8.5))}
	for again := range 60 {
		links[again%3], links[again%2] = links[again%2], links[again%3]
		if got := verdicts(Assign(camera, []Party{{Device: "phone"}}, links)); len(got) != 1 || got[[2]int{1, 0}] != Unsure {
			t.Fatalf("got %v, want clip 1 with sound 0 and no other", got)
		}
	}
}

// File times tell which of two claps, once a sure take has shown how far the
// calendars are apart.
func TestAssignTakesFileTimesAsHints(t *testing.T) {
	clips := []Party{{Device: "cam", Order: 0, Made: 1000}, {Device: "cam", Order: 1, Made: 5000}}
	sounds := []Party{{Device: "phone", Order: 0, Made: 90000}, {Device: "phone", Order: 1, Made: 93995}, {Device: "phone", Order: 2, Made: 99000}}
	for _, order := range [][]int{{1, 2}, {2, 1}} {
		links := []Link{good(0, 0, 5)}
		for _, k := range order {
			links = append(links, with(good(1, k, 5), clapOnly(9)))
		}
		got := verdicts(Assign(clips, sounds, links))
		if got[[2]int{1, 1}] != Unsure || len(got) != 2 {
			t.Errorf("got %v, want clip 1 with sound 1, unsure", got)
		}
	}
}

// Two cameras may film at once.
func TestAssignTwoCameras(t *testing.T) {
	clips := []Party{{Device: "a", Order: 0}, {Device: "b", Order: 0}}
	got := verdicts(Assign(clips, []Party{{Device: "phone", Order: 0}}, []Link{good(0, 0, 5), good(1, 0, 7)}))
	if got[[2]int{0, 0}] != Sure || got[[2]int{1, 0}] != Sure {
		t.Errorf("got %v, want both sure", got)
	}
}

// Every decision says why.
func TestAssignGivesReasons(t *testing.T) {
	ds := Assign([]Party{{Device: "a", Order: 0}}, []Party{{Device: "p", Order: 0}}, []Link{with(good(0, 0, 5), func(l *Link) { l.Claps = 2 })})
	if len(ds) != 1 || !strings.Contains(strings.Join(ds[0].Why, "; "), "2 claps") || len(ds[0].Why) < 3 {
		t.Errorf("reasons: %v", ds)
	}
}

// A rule that many matches break is told once.
func TestAssignTellsARuleOnce(t *testing.T) {
	camera := []Party{{Device: "cam", Order: 0}, {Device: "cam", Order: 1}, {Device: "cam", Order: 2}}
	ds := Assign(camera, []Party{{Device: "p", Order: 0}}, []Link{good(0, 0, 5), good(1, 0, 6), good(2, 0, 7)})
	for _, d := range ds {
		why := strings.Join(d.Why, "; ")
		if d.Verdict != Unsure || strings.Count(why, clipsOverlap) != 1 || !strings.Contains(why, "2 other matches are as strong") {
			t.Errorf("clip %d: verdict %v, reasons: %s", d.Link.Clip, d.Verdict, why)
		}
	}
	if len(ds) != 3 {
		t.Errorf("%d decisions, want 3", len(ds))
	}
}
