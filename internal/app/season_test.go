package app

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"earshot/internal/align"
	"earshot/internal/match"
	"earshot/internal/shoot"
)

// The ways of longer shoots, a glance first, give what the full search of all
// for all gives: the same takes, verdicts and loners, at the same places.
func TestLongerWaysGiveTheSame(t *testing.T) {
	dir := t.TempDir()
	writeLesson(t, dir)
	pair := func(cost int) shoot.Document {
		a, _ := newApp(t)
		a.cost = cost
		result, err := a.Pair(context.Background(), PairOptions{Paths: []string{dir}})
		if err != nil {
			t.Fatal(err)
		}
		return result.Document
	}
	full := pair(0)
	for _, cost := range []int{few + 1, affordable + 1} {
		sameFound(t, full, pair(cost))
	}
}

func sameFound(t *testing.T, full, long shoot.Document) {
	t.Helper()
	if len(full.Takes) != len(long.Takes) || len(full.Alone) != len(long.Alone) || len(full.Takes) != 4 {
		t.Fatalf("%d takes and %d alone, the full search %d and %d", len(long.Takes), len(long.Alone), len(full.Takes), len(full.Alone))
	}
	for i, f := range full.Takes {
		l := long.Takes[i]
		if l.Clip != f.Clip || l.Sound != f.Sound || l.Verdict != f.Verdict {
			t.Errorf("take %d: %s with %s, %s; the full search: %s with %s, %s", i, l.Clip, l.Sound, l.Verdict, f.Clip, f.Sound, f.Verdict)
		}
		if d := math.Abs(l.Offset - f.Offset); d > 20e-6 {
			t.Errorf("%s: %.1f µs from where the full search puts it", f.Clip, d*1e6)
		}
	}
}

// Only what belongs nowhere is searched for in full; where what it belonged to
// goes away, so is the rest.
func TestLongWaySearchesWhatIsLeft(t *testing.T) {
	dir := t.TempDir()
	writeLesson(t, dir)
	a, _ := newApp(t)
	a.cost = affordable + 1
	measured := func() *measurer {
		g, err := gather(context.Background(), []string{dir}, "")
		if err != nil {
			t.Fatal(err)
		}
		read, err := (&reader{app: a, tell: newTeller(nil)}).readAll(context.Background(), g.files)
		if err != nil {
			t.Fatal(err)
		}
		d := &Day{}
		d.sort(g, read)
		m := &measurer{app: a, tell: newTeller(nil), clips: d.clips, sounds: d.sounds}
		if err := m.run(context.Background()); err != nil {
			t.Fatal(err)
		}
		return m
	}
	check := func(m *measurer) (glances int) {
		clips, sounds := m.settled()
		for i, row := range m.held {
			for k, far := range row {
				if want := clips[i] && sounds[k]; (far == glanced) != want || far == notYet {
					t.Errorf("%s and %s: reach %d, clip settled %v, sound settled %v", m.clips[i].path, m.sounds[k].path, far, clips[i], sounds[k])
				}
				if far == glanced {
					glances++
				}
			}
		}
		return glances
	}
	m := measured()
	if check(m) == 0 {
		t.Fatal("nothing was settled by a glance")
	}
	for k := range m.sounds { // of the first clip's sound
		if m.links[0][k].settles() {
			if err := os.Remove(m.sounds[k].path); err != nil {
				t.Fatal(err)
			}
		}
	}
	check(measured())
}

// A clip that lies whole in one sound is not looked for in the faint places of
// another of that recorder: by hand.
func TestRuledOut(t *testing.T) {
	found := func(strength, from, to float64) *link {
		return &link{Found: &align.Found{Strength: strength, Rest: strength, From: from, To: to}}
	}
	sound := func(device string) *recording { return &recording{device: device} }
	clip := &recording{tracks: []track{{Samples: 60 * 16000}}}
	for name, tt := range map[string]struct {
		links []*link
		want  []bool
	}{
		"whole":                {[]*link{found(60, 0, 60), nil, nil}, []bool{false, true, false}},
		"it began a bit later": {[]*link{nil, found(60, 0.5, 60), nil}, []bool{true, false, false}},
		"in part":              {[]*link{found(60, 0, 40), nil, nil}, []bool{false, false, false}},
		"weak":                 {[]*link{found(25, 0, 60), nil, nil}, []bool{false, false, false}},
		"twice":                {[]*link{found(60, 0, 60), found(60, 0, 60), nil}, []bool{true, true, false}},
	} {
		m := &measurer{clips: []*recording{clip}, links: [][]*link{tt.links},
			sounds: []*recording{sound("a"), sound("a"), sound("b")}, held: [][]reach{{glanced, glanced, glanced}}}
		if got := m.ruledOut(0); !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v, want %v", name, got, tt.want)
		}
		r := m.possible()
		for k, out := range tt.want {
			if r.left(0, k) == out {
				t.Errorf("%s: sound %d left %v, ruled out %v", name, k, !out, out)
			}
		}
	}
}

// Where a clip lies in one of two sounds that another clip lies in both of, it
// is looked for in the other at the place that the two clocks say: by hand.
func TestFollowed(t *testing.T) {
	found := func(offset, drift, from, to float64) *link {
		return &link{Found: &align.Found{Alignment: align.Alignment{Offset: offset, Drift: drift}, Strength: 60, Rest: 50,
			Mid: (from + to) / 2, From: from, To: to}}
	}
	rec := func(name string, seconds float64) *recording {
		return &recording{path: filepath.Join("x", name), tracks: []track{{Samples: int(seconds * 16000)}}}
	}
	m := &measurer{clips: []*recording{rec("a", 60), rec("b", 60), rec("c", 60)}, sounds: []*recording{rec("k", 9000), rec("o", 2000)},
		links: [][]*link{
			{found(100, 10e-6, 0, 60), found(40, 30e-6, 0, 60)}, // of clip a; so that o = 40 + 1.00002·(k-100), about
			{found(1100, 10e-6, 0, 60), nil},
			{found(5000, 10e-6, 0, 60), nil}, // long after the other sound's end
		},
		held: [][]reach{{glanced, glanced}, {glanced, glanced}, {glanced, glanced}}}
	jobs := m.followed(0, 1)
	if len(jobs) != 1 || jobs[0].clip != 1 || jobs[0].sound != 1 {
		t.Fatalf("jobs %+v, want one, of the second clip", jobs)
	}
	at := jobs[0].candidate.At
	inFirst := 1100 + (1+10e-6)*at
	want := 40 + (1+30e-6)*(inFirst-100)/(1+10e-6)
	if math.Abs(jobs[0].candidate.Sound-want) > 1e-9 {
		t.Errorf("looked for at %.6f s, want %.6f", jobs[0].candidate.Sound, want)
	}
	if jobs := m.followed(1, 0); len(jobs) != 0 {
		t.Errorf("jobs %+v for clips that are known to lie there", jobs)
	}
}

// Of the faint places only the highest are worth a look, of a clip or of a
// sound that has nothing else; clear ones always are.
func TestWorthIt(t *testing.T) {
	var jobs []job
	for k := range 40 {
		jobs = append(jobs,
			job{clip: 0, sound: k, candidate: match.Candidate{Score: 4 + float64(k)/100}}, // belongs nowhere
			job{clip: 1, sound: k, candidate: match.Candidate{Score: 4.2}},                // settled
			job{clip: 2, sound: k, candidate: match.Candidate{Score: 6}})
	}
	sounds := make([]bool, 40)
	for k := range sounds {
		sounds[k] = k != 3
	}
	var faint, settled, clear int
	for _, j := range worthIt(jobs, []bool{false, true, true}, sounds) {
		switch j.clip {
		case 0:
			if faint++; j.sound < 40-mostFaint && j.sound != 3 {
				t.Errorf("a faint place in sound %d is looked at", j.sound)
			}
		case 1:
			if settled++; j.sound != 3 {
				t.Errorf("a settled clip is looked for in sound %d", j.sound)
			}
		case 2:
			clear++
		}
	}
	if faint != mostFaint+1 || settled != 1 || clear != 40 {
		t.Errorf("%d faint, %d of the settled clip, %d clear places; want %d, 1, 40", faint, settled, clear, mostFaint+1)
	}
}
