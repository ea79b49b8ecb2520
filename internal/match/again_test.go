package match

import "testing"

func numbered(device string) (out []Party) {
	for i := range 5 {
		out = append(out, Party{Device: device, Order: i})
	}
	return out
}

// Two sure takes that stand against each other's order may both be, where nothing
// is heard twice (a file renamed); not where a record plays behind other takes.
func TestOrderCountsWhereARecordPlays(t *testing.T) {
	crossed := []Link{good(0, 1, 5), good(1, 0, 5)}
	record := []Link{good(2, 2, 5), good(3, 2, 7)}
	for _, tt := range []struct {
		links []Link
		want  Verdict
	}{{crossed, Sure}, {append(crossed, record...), Unsure}} {
		got := verdicts(Assign(numbered("cam"), numbered("phone"), tt.links))
		for _, l := range crossed {
			if v := got[[2]int{l.Clip, l.Sound}]; v != tt.want {
				t.Errorf("%d links: clip %d with sound %d: %v, want %v", len(tt.links), l.Clip, l.Sound, v, tt.want)
			}
		}
	}
}

// Where links that cannot all be right lead as far as a take does, its lead says
// nothing for it; one that leads much further stays sure.
func TestLeadCountsWhereARecordPlays(t *testing.T) {
	leads := func(lead float64) func(*Link) { return func(l *Link) { l.Lead = lead } }
	tones := func(l *Link) { l.Steady = 0.3 }
	clips := []Link{with(good(2, 2, 5), leads(0.9)), with(good(3, 2, 7), leads(1.1))}
	var sounds []Link
	for i := range 4 {
		sounds = append(sounds, with(good(2, 1+i, 5), leads(0.9+0.1*float64(i))))
	}
	for _, tt := range []struct {
		name   string
		lead   float64
		record []Link
		want   Verdict
	}{
		{"nothing twice", 1, nil, Sure},
		{"nothing twice, two recorders", 1, sounds[:2], Sure},
		{"two clips in one place", 1, clips, Unsure},
		{"a clip in four sounds", 1, sounds, Unsure},
		{"two clips in one place, talk", 1.4, clips, Sure},
		{"a clip in four sounds, talk", 1.4, sounds, Sure},
		{"two cameras that look like one", 1.6, []Link{good(2, 2, 5), good(3, 2, 7)}, Sure},
		{"two clips in one place, held tones", 2, []Link{with(good(2, 2, 5), tones), with(good(3, 2, 7), tones)}, Unsure},
		{"two clips in one place, one of them talk", 1, []Link{good(2, 2, 5), with(good(3, 2, 7), leads(0.9))}, Unsure},
	} {
		take, seen := with(good(0, 0, 5), leads(tt.lead)), false
		for _, d := range Assign(numbered("cam"), numbered("phone"), append([]Link{take}, tt.record...)) {
			if d.Link != take {
				continue
			}
			seen = true
			if d.Verdict != tt.want {
				t.Errorf("%s: %v, want %v", tt.name, d.Verdict, tt.want)
			}
			if tt.want == Unsure && d.Chance < 0.02 {
				t.Errorf("%s: a chance of error of %g", tt.name, d.Chance)
			}
		}
		if !seen {
			t.Errorf("%s: no decision on the take", tt.name)
		}
	}
}
