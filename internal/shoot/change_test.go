package shoot

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
)

// What is not there stays, what is null goes back to as measured.
func TestChangeTellsNullFromAbsent(t *testing.T) {
	was := Word{Approved: true, Line: &Line{Offset: 1, Drift: 2}, Name: "a", Refused: []string{"x"}}
	for text, want := range map[string]Word{
		`{}`:                                  was,
		`{"line": null}`:                      {Approved: true, Name: "a", Refused: []string{"x"}},
		`{"line": {"offset_s": 3}}`:           {Approved: true, Line: &Line{Offset: 3}, Name: "a", Refused: []string{"x"}},
		`{"approved": false, "name": " b\t"}`: {Line: was.Line, Name: "b", Refused: []string{"x"}},
		`{"refused": []}`:                     {Approved: true, Line: was.Line, Name: "a"},
		`{"sound": "s", "note": "n"}`:         {Approved: true, Line: was.Line, Name: "a", Refused: []string{"x"}, Sound: "s", Note: "n"},
	} {
		var c Change
		if err := json.Unmarshal([]byte(text), &c); err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		got, _ := json.Marshal(c.Over(was))
		expect, _ := json.Marshal(want)
		if string(got) != string(expect) {
			t.Errorf("%s gives %s, want %s", text, got, expect)
		}
	}
	var c Change
	for _, text := range []string{`[]`, `{"approved": 1}`, `{"line": 3}`, `{"name": {}}`} {
		if json.Unmarshal([]byte(text), &c) == nil {
			t.Errorf("%s was understood", text)
		}
	}
}

func TestLabels(t *testing.T) {
	at := &Line{Offset: 10, Drift: 20}
	laid := func(offset, drift float64) Word { return Word{Line: &Line{Offset: offset, Drift: drift}} }
	for _, tt := range []struct {
		was, is Word
		want    string
	}{
		{Word{}, Word{Approved: true}, "approved"},
		{Word{Approved: true}, Word{}, "approval taken back"},
		{Word{}, laid(9.999, 20), "laid 1.00 ms later"}, // the sound's beginning comes later under the clip
		{Word{}, laid(10.04, 20), "laid 40 ms earlier"},
		{laid(9, 20), laid(6.5, 20), "laid 2.50 s later"},
		{Word{}, laid(10, 21), "drift set to +21.00 ppm"},
		{laid(9, 20), Word{}, "back to the measured place"},
		{Word{}, Word{Refused: []string{"x"}}, "pair refused"},
		{Word{Refused: []string{"x"}}, Word{}, "refusal taken back"},
		{Word{}, Word{Sound: "x"}, "another sound chosen"},
		{Word{Sound: "x"}, Word{}, "back to the measured sound"},
		{Word{}, Word{Name: "x"}, "name changed"},
		{Word{}, Word{Note: "x"}, "note changed"},
	} {
		if got := Label(tt.was, tt.is, at); got != tt.want {
			t.Errorf("%+v after %+v is %q, want %q", tt.is, tt.was, got, tt.want)
		}
	}
	if got := Label(Word{}, laid(1, 0), nil); got != "laid by hand" {
		t.Errorf("with nothing known before it is %q", got)
	}
}

func TestWrong(t *testing.T) {
	line := func(offset, drift float64) Change {
		l := &Line{offset, drift}
		return Change{Line: &l}
	}
	name, note := strings.Repeat("ä", longestName), strings.Repeat("ä", longestNote)
	for _, c := range []Change{{}, line(1, 2), {Name: &name}, {Note: &note}} {
		if why := c.Wrong(); why != "" {
			t.Errorf("%+v: %s", c, why)
		}
	}
	name2, note2, lines := name+"x", note+"x", "a\nb"
	for _, c := range []Change{line(math.NaN(), 0), line(0, math.NaN()), line(math.Inf(1), 0), line(0, 2e4), {Name: &name2}, {Name: &lines}, {Note: &note2}} {
		if c.Wrong() == "" {
			t.Errorf("%+v is taken", c)
		}
	}
}
