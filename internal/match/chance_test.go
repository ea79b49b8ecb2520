package match

import (
	"math"
	"strings"
	"testing"
)

// The chance of error grows with what makes an error likelier, and stays
// between its bounds.
func TestChanceOfError(t *testing.T) {
	weak := with(good(0, 0, 5), func(l *Link) { l.Strength, l.Rest = 13, 9 })
	chanceOf := func(l Link, sounds, rivals int) float64 {
		d := Decision{Link: l, rivals: make([]string, rivals)}
		return d.chance(sounds, nil, 1)
	}
	for _, tt := range []struct {
		name       string
		less, more float64
	}{
		{"a weaker match", chanceOf(good(0, 0, 5), 10, 0), chanceOf(weak, 10, 0)},
		{"more sounds tried", chanceOf(weak, 1, 0), chanceOf(weak, 100, 0)},
		{"music between the words", chanceOf(good(0, 0, 5), 10, 0), chanceOf(with(good(0, 0, 5), func(l *Link) { l.Lead = 0.2 }), 10, 0)},
		{"claps only", chanceOf(good(0, 0, 5), 10, 0), chanceOf(with(good(0, 0, 5), func(l *Link) { l.Beyond = 1 }), 10, 0)},
		{"a rival", chanceOf(good(0, 0, 5), 10, 0), chanceOf(good(0, 0, 5), 10, 1)},
		{"two rivals", chanceOf(good(0, 0, 5), 10, 1), chanceOf(good(0, 0, 5), 10, 2)},
		{"the least", 0, chanceOf(good(0, 0, 5), 10, 0)},
		{"the most", chanceOf(with(weak, func(l *Link) { l.Lead = 0 }), 1000, 20), 1},
	} {
		if !(tt.less < tt.more) || tt.more > 1 {
			t.Errorf("%s: %g, against %g", tt.name, tt.more, tt.less)
		}
	}
	if got := chanceOf(good(0, 0, 5), 10, 1); math.Abs(got-0.5) > 1e-3 {
		t.Errorf("one of two as good: %g, want a half", got)
	}
	if got := chanceOf(with(good(0, 0, 5), clapOnly(9)), 10, 0); got < 0.5 {
		t.Errorf("a clap that lies on one: %g, want a half at least", got)
	}
}

// Every decision states a chance, and one whose rules are broken one of a half
// and more.
func TestAssignStatesChances(t *testing.T) {
	parties := []Party{{Device: "a", Order: 0}, {Device: "a", Order: 1}}
	for _, d := range Assign(parties, parties, []Link{good(0, 0, 5), good(1, 0, 10)}) {
		if d.Verdict != Unsure || d.Chance < 0.49 || d.Chance > 0.6 {
			t.Errorf("%v with a chance of error of %g", d.Verdict, d.Chance)
		}
	}
}

// Rivals come the likeliest first, each with reasons, none of them the take
// itself.
func TestRivals(t *testing.T) {
	clips := []Party{{Device: "cam", Order: 0, Made: 1000}, {Device: "cam", Order: 1, Made: 5000}}
	sounds := []Party{{Device: "rec", Order: 0, Made: 90000}, {Device: "rec", Order: 1, Made: 93995}, {Device: "rec", Order: 2, Made: 99000}}
	weak := with(good(1, 1, 5), func(l *Link) { l.Strength, l.Rest = 12, 8 })
	faint := with(good(1, 2, 5), func(l *Link) { l.Strength, l.Rest = 9, 4 })
	clash := with(good(1, 0, 8), func(l *Link) { l.Strength, l.Rest = 13, 9 })
	elsewhere := with(good(1, 1, 25), func(l *Link) { l.Strength, l.Rest = 7, 3 })
	links := []Link{good(0, 0, 5), weak, faint, clash}
	out := Assign(clips, sounds, links)
	at := -1
	for i, d := range out {
		if d.Link.Clip == 1 && d.Link.Sound == 1 {
			at = i
		}
	}
	if at < 0 {
		t.Fatalf("the weak take is gone: %+v", out)
	}
	got := Rivals(out, at, append(links, elsewhere), clips, sounds, 2)
	if len(got) != 2 || got[0].Link.Clip != 1 {
		t.Fatalf("%+v", got)
	}
	all := Rivals(out, at, append(links, elsewhere), clips, sounds, 5)
	if len(all) != 3 {
		t.Fatalf("%d rivals, want the two other sounds and the other place: %+v", len(all), all)
	}
	for _, r := range all {
		text := strings.Join(append(append([]string{}, r.For...), r.Against...), "; ")
		for want, where := range map[string]bool{
			"unrelated recordings give as much": r.Link.Sound == 2 || r.Link.Start == 25,
			"overlap in time":                   r.Link.Sound == 0,
			"s off what the other takes show":   r.Link.Sound != 1,
			"agree with the other takes within": r.Link.Sound == 1,
		} {
			if strings.Contains(text, want) != where {
				t.Errorf("sound %d at %g: %q, %q is there: %t", r.Link.Sound, r.Link.Start, text, want, !where)
			}
		}
	}
}
