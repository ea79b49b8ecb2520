package desk

import (
	"math"
	"testing"

	"earshot/internal/shoot"
)

// Clips lie in their sounds as the takes say, groups where their dates say, and
// what has neither is not placed.
func TestTimesOfDay(t *testing.T) {
	recs := map[string]Recording{
		"sound": {ID: "sound", Length: 600, Made: "2026-01-14T10:00:00Z"},
		"one":   {ID: "one", Length: 20, Made: "2026-01-14T10:01:02Z"},
		"two":   {ID: "two", Length: 20, Made: "2026-01-14T10:05:00Z"},
		"later": {ID: "later", Length: 5, Made: "2026-01-14T11:00:00Z"},
		"a":     {ID: "a", Length: 10},
		"b":     {ID: "b", Length: 30},
		"lost":  {ID: "lost", Length: 10},
	}
	takes := []Take{
		{ID: "one", Sound: "sound", Line: shoot.Line{Offset: 60}},
		{ID: "two", Sound: "sound", Line: shoot.Line{Offset: 300}},
		{ID: "a", Sound: "b", Line: shoot.Line{Offset: -4}},
	}
	got := timesOfDay(recs, takes)
	const ten = 10 * 3600
	want := map[string]float64{"sound": ten, "one": ten + 60, "two": ten + 300, "later": ten + 3600, "a": ten + 3605 + 60, "b": ten + 3605 + 60 + 4}
	for id, at := range want {
		if got[id] == nil || math.Abs(*got[id]-at) > 1e-9 {
			t.Errorf("%s lies at %v, want %g", id, got[id], at)
		}
	}
	if got["lost"] != nil {
		t.Errorf("what nothing ties and nothing dates lies at %g", *got["lost"])
	}
	if len(timesOfDay(nil, nil)) != 0 {
		t.Error("an empty day has times")
	}
}

// A file's own clock says the hour, whatever its zone; where none has a date,
// takes follow each other by name, from the first.
func TestTimesOfDayWithoutDates(t *testing.T) {
	east := timesOfDay(map[string]Recording{"x": {ID: "x", Length: 9, Made: "2026-01-14T00:30:00+05:30"}}, nil)
	if east["x"] == nil || *east["x"] != 30*60 {
		t.Errorf("half past midnight in its own zone lies at %v", east["x"])
	}
	recs := map[string]Recording{}
	for id, name := range map[string]string{"k": "C1.MP4", "a": "C2.MP4", "z": "r1.wav", "b": "r2.wav"} {
		recs[id] = Recording{ID: id, Name: name, Length: 10}
	}
	got := timesOfDay(recs, []Take{{ID: "a", Sound: "b", Line: shoot.Line{Offset: 2}}, {ID: "k", Sound: "z", Line: shoot.Line{Offset: 3}}})
	for id, at := range map[string]float64{"z": 0, "k": 3, "b": 13 + 60, "a": 13 + 60 + 2} {
		if got[id] == nil || math.Abs(*got[id]-at) > 1e-9 {
			t.Errorf("%s lies at %v, want %g", id, got[id], at)
		}
	}
}

// A clip whose take is gone stays, and is told again since both share an id; what
// is shown as before is not told.
func TestPatchOfTakeGone(t *testing.T) {
	b := newBoard()
	b.change(func(v int64) {
		b.recs.put("x", Recording{ID: "x", Tracks: []Track{}}, v)
		b.takes.put("x", Take{ID: "x"}, v)
	})
	first := b.state().Version
	b.change(func(v int64) {
		b.takes.remove("x", v)
		b.recs.put("x", Recording{ID: "x", Tracks: []Track{}}, v)
	})
	if p := b.patch(first); len(p.Gone) != 1 || len(p.Recordings) != 1 || len(p.Takes) != 0 {
		t.Errorf("%+v", p)
	}
	second := b.state().Version
	b.change(func(v int64) { b.recs.put("x", Recording{ID: "x", Tracks: []Track{}}, v) })
	if p := b.patch(second); len(p.Recordings) != 0 {
		t.Errorf("nothing changed and it tells %+v", p)
	}
	b.change(func(v int64) { b.recs.remove("x", v) })
	if p := b.patch(first); len(p.Gone) != 1 || len(p.Recordings) != 0 {
		t.Errorf("%+v", p)
	}
}

func TestTakesAreArranged(t *testing.T) {
	b := newBoard()
	b.change(func(v int64) {
		for _, id := range []string{"c", "x", "a", "b"} {
			b.takes.put(id, Take{ID: id}, v)
		}
		b.takes.arrange([]string{"a", "b", "c"})
	})
	var got string
	for _, k := range b.state().Takes {
		got += k.ID
	}
	if got != "abcx" {
		t.Errorf("takes are shown as %s, want abcx", got)
	}
}

func TestChangesToldOnce(t *testing.T) {
	b := newBoard()
	b.change(func(v int64) { b.recs.put("x", Recording{ID: "x"}, v) })
	first := b.state().Version
	b.change(func(v int64) { b.recs.remove("x", v) })
	if p := b.patch(first); len(p.Gone) != 1 || p.Gone[0] != "x" || p.All || p.Work != nil {
		t.Errorf("%+v", p)
	}
	b.change(func(v int64) { b.recs.put("x", Recording{ID: "x", Name: "again"}, v) })
	if p := b.patch(first); len(p.Gone) != 0 || len(p.Recordings) != 1 || p.Recordings[0].Name != "again" {
		t.Errorf("%+v", p)
	}
	if p := b.patch(b.state().Version + 10); !p.All {
		t.Error("a version of another run is taken for one of this")
	}
}
