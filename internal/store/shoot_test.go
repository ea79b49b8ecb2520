package store

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"

	"earshot/internal/fault"
	"earshot/internal/shoot"
)

// open opens the shoot in dir until the test ends.
func open(t testing.TB, dir string) *Shoot {
	t.Helper()
	s, err := OpenShoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// again closes s and opens the same shoot anew.
func again(t testing.TB, s *Shoot) *Shoot {
	t.Helper()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return open(t, s.Dir())
}

// A state is all that a Shoot tells.
type state struct {
	Words      map[string]shoot.Word
	Paths      []string
	Kept       map[string]string
	Undo, Redo *shoot.Step
}

func stateOf(t testing.TB, s *Shoot) state {
	t.Helper()
	st := state{Kept: map[string]string{}}
	var err error
	if st.Words, err = s.Words(); err != nil {
		t.Fatal(err)
	}
	if st.Paths, err = s.Paths(); err != nil {
		t.Fatal(err)
	}
	if st.Undo, st.Redo, err = s.Ahead(); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"measured", "married"} {
		b, err := s.Kept(name)
		if err != nil {
			t.Fatal(err)
		}
		if b != nil {
			st.Kept[name] = string(b)
		}
	}
	return st
}

// A doer is a Shoot, or the model of one.
type doer interface {
	Say(clip string, w shoot.Word, label string) error
	SayAll([]Said) error
	Undo() (*shoot.Step, error)
	Redo() (*shoot.Step, error)
	SetPaths([]string) error
	Keep(name string, b []byte) error
}

// A model is a Shoot in memory, with two stacks for its history.
type model struct {
	words        map[string]shoot.Word
	paths        []string
	kept         map[string]string
	done, undone [][]said // deeds, of one step or more
}

type said struct {
	step          shoot.Step
	before, after shoot.Word
}

func newModel() *model { return &model{words: map[string]shoot.Word{}, kept: map[string]string{}} }

func (m *model) lay(clip string, w shoot.Word) {
	if w.Empty() {
		delete(m.words, clip)
	} else {
		m.words[clip] = w
	}
}

func (m *model) Say(clip string, w shoot.Word, label string) error {
	return m.SayAll([]Said{{clip, w, label}})
}

func (m *model) SayAll(all []Said) error {
	var deed []said
	clips := map[string]bool{}
	for _, s := range all {
		before := m.words[s.Clip]
		if reflect.DeepEqual(before, s.Word) {
			continue
		}
		m.lay(s.Clip, s.Word)
		clips[s.Clip] = true
		deed = append(deed, said{shoot.Step{Label: s.Label, Clip: s.Clip}, before, s.Word})
	}
	for i := range deed {
		deed[i].step.More = len(clips) - 1
	}
	if deed != nil {
		m.done, m.undone = append(m.done, deed), nil
	}
	return nil
}

func (m *model) Undo() (*shoot.Step, error) {
	deed := top(m.done)
	if deed == nil {
		return nil, nil
	}
	m.done, m.undone = m.done[:len(m.done)-1], append(m.undone, deed)
	for _, s := range slices.Backward(deed) {
		m.lay(s.step.Clip, s.before)
	}
	return undoes(deed), nil
}

func (m *model) Redo() (*shoot.Step, error) {
	deed := top(m.undone)
	if deed == nil {
		return nil, nil
	}
	m.undone, m.done = m.undone[:len(m.undone)-1], append(m.done, deed)
	for _, s := range deed {
		m.lay(s.step.Clip, s.after)
	}
	return redoes(deed), nil
}

// top is the deed on top of a stack, or nil.
func top(stack [][]said) []said {
	if len(stack) == 0 {
		return nil
	}
	return stack[len(stack)-1]
}

// undoes and redoes are the step of a deed that is told of, or nil.
func undoes(deed []said) *shoot.Step {
	if deed == nil {
		return nil
	}
	return &deed[len(deed)-1].step
}

func redoes(deed []said) *shoot.Step {
	if deed == nil {
		return nil
	}
	return &deed[0].step
}

func (m *model) SetPaths(paths []string) error { m.paths = paths; return nil }

func (m *model) Keep(name string, b []byte) error { m.kept[name] = string(b); return nil }

func (m *model) state() state {
	return state{maps.Clone(m.words), m.paths, maps.Clone(m.kept), undoes(top(m.done)), redoes(top(m.undone))}
}

// act does the i-th of an endless row of things, always the same one.
func act(d doer, i int) error {
	r := rand.New(rand.NewPCG(uint64(i), 7))
	var err error
	switch p := r.IntN(20); {
	case p < 3:
		_, err = d.Undo()
	case p < 5:
		_, err = d.Redo()
	case p < 6:
		err = d.SetPaths([]string{fmt.Sprint("/card/", i), "/body mic"})
	case p < 7:
		err = d.Keep("measured", []byte(strings.Repeat(fmt.Sprint(i, " "), r.IntN(9000))))
	case p < 8:
		err = d.Say(fmt.Sprint("clip ", r.IntN(4)), shoot.Word{}, fmt.Sprint("nothing ", i))
	case p < 10:
		all := make([]Said, 1+r.IntN(4))
		for k := range all {
			all[k] = Said{fmt.Sprint("clip ", r.IntN(4)), shoot.Word{Approved: r.IntN(2) == 0, Note: fmt.Sprint(r.IntN(2))}, fmt.Sprint("one of several ", i)}
		}
		err = d.SayAll(all)
	default:
		w := shoot.Word{Approved: r.IntN(2) == 0, Sound: "sound", Note: fmt.Sprint("note ", r.IntN(30))}
		if r.IntN(2) == 0 {
			w.Line = &shoot.Line{Offset: r.NormFloat64() * 1000, Drift: r.NormFloat64() * 50}
		}
		err = d.Say(fmt.Sprint("clip ", r.IntN(4)), w, fmt.Sprint("step ", i))
	}
	return err
}

func TestShootRoundTrip(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a new folder", "with #odd% näme;&=+ %20")
	if runtime.GOOS != "windows" {
		dir += "?vfs=none\xff"
	}
	if HasShoot(dir) {
		t.Error("HasShoot before there is one")
	}
	s := open(t, dir)
	if !HasShoot(dir) || s.Dir() != dir {
		t.Errorf("HasShoot = %v, Dir = %q", HasShoot(dir), s.Dir())
	}
	empty := state{Words: map[string]shoot.Word{}, Kept: map[string]string{}}
	if got := stateOf(t, s); !reflect.DeepEqual(got, empty) {
		t.Errorf("a new shoot holds %+v", got)
	}
	full := shoot.Word{Approved: true, Sound: "s1", Line: &shoot.Line{Offset: -1.0 / 3, Drift: 1e-300}, Refused: []string{"s2", "s3"},
		Name: "Interview \"one\"", Note: "zwei\nZeilen \x00 und <mehr> 🎬"}
	paths := []string{"/b", "/a", "not UTF-8: \xff\xfe", "/a"}
	must(t, s.Say("c1", full, "laid 1.0 ms later"))
	must(t, s.Say("", shoot.Word{Note: "a clip without a name"}, ""))
	must(t, s.SetPaths(paths))
	must(t, s.Keep("measured", []byte{0, 1, 255}))
	must(t, s.Keep("married", []byte{}))
	want := state{
		Words: map[string]shoot.Word{"c1": full, "": {Note: "a clip without a name"}}, Paths: paths,
		Kept: map[string]string{"measured": "\x00\x01\xff", "married": ""}, Undo: &shoot.Step{},
	}
	if got := stateOf(t, s); !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, want %+v", got, want)
	}
	if got := stateOf(t, again(t, s)); !reflect.DeepEqual(got, want) {
		t.Errorf("opened again: got %+v, want %+v", got, want)
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// Thousands of things done, undone and branched off from are as in the model;
// at last every step that stands is taken back, and done again.
func TestShootIsAsItsModel(t *testing.T) {
	s, m := open(t, t.TempDir()), newModel()
	for i := range 3000 {
		must(t, act(s, i))
		must(t, act(m, i))
		if i%100 == 0 || i < 100 {
			if got, want := stateOf(t, s), m.state(); !reflect.DeepEqual(got, want) {
				t.Fatalf("after %d: got %+v, want %+v", i, got, want)
			}
		}
	}
	s = again(t, s)
	checkSteps(t, s)
	steps := func(name string, one, other func() (*shoot.Step, error)) (n int) {
		for ; ; n++ {
			got, err := one()
			must(t, err)
			want, _ := other()
			if !reflect.DeepEqual(got, want) {
				t.Fatalf("%s %d: %+v, want %+v", name, n, got, want)
			}
			if got == nil {
				return n
			}
		}
	}
	back := steps("undo", s.Undo, m.Undo)
	if words, err := s.Words(); back < 1000 || len(words) != 0 || err != nil {
		t.Errorf("%d steps back there is %v, %v", back, words, err)
	}
	forth := steps("redo", s.Redo, m.Redo)
	if got, want := stateOf(t, s), m.state(); forth < back || !reflect.DeepEqual(got, want) {
		t.Errorf("%d steps back and %d forth: %+v, want %+v", back, forth, got, want)
	}
}

// checkSteps holds the history against the words: whoever goes from the step
// that stands back to the first finds each clip as the step left it, and in the
// end nothing said.
func checkSteps(t testing.TB, s *Shoot) {
	t.Helper()
	words := map[string]string{}
	query(t, s, "SELECT clip, word FROM words", func(row []string) { words[row[0]] = row[1] })
	chain := `WITH RECURSIVE back(id, parent, clip, before, after) AS (
		SELECT id, parent, clip, before, after FROM steps WHERE id = (SELECT here FROM shoot)
		UNION ALL SELECT s.id, s.parent, s.clip, s.before, s.after FROM steps s JOIN back ON s.id = back.parent)
		SELECT clip, coalesce(before, ''), coalesce(after, '') FROM back ORDER BY id DESC`
	query(t, s, chain, func(row []string) {
		if words[row[0]] != row[2] {
			t.Fatalf("clip %q is %s where a step left %s", row[0], words[row[0]], row[2])
		}
		words[row[0]] = row[1]
	})
	for clip, w := range words {
		if w != "" {
			t.Errorf("before the first step clip %q is %s", clip, w)
		}
	}
	query(t, s, "PRAGMA integrity_check", func(row []string) {
		if row[0] != "ok" {
			t.Error(row[0])
		}
	})
	query(t, s, "PRAGMA foreign_key_check", func(row []string) { t.Error("a step without its parent: ", row) })
}

// query calls fn with every row of text.
func query(t testing.TB, s *Shoot, q string, fn func(row []string)) {
	t.Helper()
	rows, err := s.db.Query(q)
	must(t, err)
	defer rows.Close()
	cols, err := rows.Columns()
	must(t, err)
	for rows.Next() {
		row, into := make([]string, len(cols)), make([]any, len(cols))
		for i := range row {
			into[i] = &row[i]
		}
		must(t, rows.Scan(into...))
		fn(row)
	}
	must(t, rows.Err())
}

// A branch that was left is not come back to, and stays in the file.
func TestBranches(t *testing.T) {
	s := open(t, t.TempDir())
	say := func(label string) { t.Helper(); must(t, s.Say("c", shoot.Word{Note: label}, label)) }
	undo := func(want string) { t.Helper(); sameStep(t, "undo", want)(s.Undo()) }
	redo := func(want string) { t.Helper(); sameStep(t, "redo", want)(s.Redo()) }
	undo("")
	say("a")
	say("b")
	say("c")
	undo("c")
	undo("b")
	say("d") // leaves b and c
	redo("")
	undo("d")
	undo("a")
	undo("")
	redo("a")
	redo("d")
	redo("")
	undo("d")
	undo("a")
	say("e") // leaves a and d
	redo("")
	undo("e")
	redo("e")
	s = again(t, s)
	redo("")
	undo("e")
	undo("")
	var labels []string
	query(t, s, "SELECT label FROM steps ORDER BY id", func(row []string) { labels = append(labels, row[0]) })
	if want := []string{"a", "b", "c", "d", "e"}; !slices.Equal(labels, want) {
		t.Errorf("the file holds the steps %v, want %v", labels, want)
	}
}

func sameStep(t *testing.T, what, want string) func(*shoot.Step, error) {
	return func(step *shoot.Step, err error) {
		t.Helper()
		must(t, err)
		switch {
		case step == nil && want != "":
			t.Fatalf("%s did nothing, want %q", what, want)
		case step != nil && (want == "" || *step != shoot.Step{Label: want, Clip: "c"}):
			t.Fatalf("%s did %+v, want %q", what, *step, want)
		}
	}
}

// What changes nothing is no step, forgets nothing that could be done again, and
// leaves the revision; what changes something does not.
func TestRevision(t *testing.T) {
	s := open(t, t.TempDir())
	other := open(t, s.Dir())
	last := int64(-1)
	for _, tt := range []struct {
		name    string
		do      func() error
		changes bool
	}{
		{"the first look", func() error { return nil }, true},
		{"nothing said of a clip", func() error { return s.Say("c", shoot.Word{}, "x") }, false},
		{"a word", func() error { return s.Say("c", shoot.Word{Note: "n"}, "x") }, true},
		{"the same word", func() error { return s.Say("c", shoot.Word{Note: "n", Refused: []string{}}, "x") }, false},
		{"undo", func() error { _, err := s.Undo(); return err }, true},
		{"undo of nothing", func() error { _, err := s.Undo(); return err }, false},
		{"the word that stands", func() error { return s.Say("c", shoot.Word{}, "x") }, false},
		{"redo", func() error { _, err := s.Redo(); return err }, true},
		{"redo of nothing", func() error { _, err := s.Redo(); return err }, false},
		{"paths", func() error { return s.SetPaths([]string{"/a"}) }, true},
		{"the same paths", func() error { return s.SetPaths([]string{"/a"}) }, false},
		{"no paths", func() error { return s.SetPaths(nil) }, true},
		{"a document", func() error { return s.Keep("d", []byte("1")) }, true},
		{"the same document", func() error { return s.Keep("d", []byte("1")) }, false},
		{"another document", func() error { return s.Keep("d", []byte("2")) }, true},
		{"no document", func() error { return s.Keep("d", nil) }, true},
		{"no document again", func() error { return s.Keep("d", nil) }, false},
		{"the other's word", func() error { return other.Say("c", shoot.Word{}, "x") }, true},
	} {
		must(t, tt.do())
		now, err := s.Revision()
		must(t, err)
		if seen, err := other.Revision(); err != nil || seen != now {
			t.Errorf("%s: the other sees revision %d (%v), not %d", tt.name, seen, err, now)
		}
		if (now != last) != tt.changes || now < last {
			t.Errorf("%s: revision %d after %d", tt.name, now, last)
		}
		last = now
	}
	if b, err := s.Kept("d"); b != nil || err != nil {
		t.Errorf("Kept of what was taken away = %q, %v", b, err)
	}
}

// What was said together is taken back and done again together, though another
// thing was said before and after; one bad word of several leaves nothing.
func TestSaidTogether(t *testing.T) {
	s := open(t, t.TempDir())
	must(t, s.Say("a", shoot.Word{Note: "n"}, "noted"))
	yes := shoot.Word{Approved: true}
	must(t, s.SayAll([]Said{{"a", yes, "approved"}, {"b", yes, "approved"}, {"c", yes, "approved"}}))
	must(t, s.SayAll([]Said{{"a", yes, "stands already"}, {"d", yes, "alone after all"}}))
	bad := []Said{{"e", yes, "x"}, {"f", shoot.Word{Line: &shoot.Line{Offset: math.Inf(1)}}, "x"}}
	if err := s.SayAll(bad); fault.KindOf(err) != fault.Usage {
		t.Errorf("one of two is no number: %v", err)
	}
	s = again(t, s)
	for _, tt := range []struct {
		do    func() (*shoot.Step, error)
		want  shoot.Step
		words map[string]shoot.Word
	}{
		{s.Undo, shoot.Step{Clip: "d", Label: "alone after all"}, map[string]shoot.Word{"a": yes, "b": yes, "c": yes}},
		{s.Undo, shoot.Step{Clip: "c", Label: "approved", More: 2}, map[string]shoot.Word{"a": {Note: "n"}}},
		{s.Undo, shoot.Step{Clip: "a", Label: "noted"}, map[string]shoot.Word{}},
		{s.Redo, shoot.Step{Clip: "a", Label: "noted"}, map[string]shoot.Word{"a": {Note: "n"}}},
		{s.Redo, shoot.Step{Clip: "a", Label: "approved", More: 2}, map[string]shoot.Word{"a": yes, "b": yes, "c": yes}},
		{s.Redo, shoot.Step{Clip: "d", Label: "alone after all"}, map[string]shoot.Word{"a": yes, "b": yes, "c": yes, "d": yes}},
	} {
		step, err := tt.do()
		must(t, err)
		if step == nil || *step != tt.want {
			t.Errorf("the step %+v, want %+v", step, tt.want)
		}
		if words, err := s.Words(); err != nil || !reflect.DeepEqual(words, tt.words) {
			t.Errorf("after %q: %v, %v", tt.want.Label, words, err)
		}
	}
	checkSteps(t, s)
}

func TestSayOfNoNumber(t *testing.T) {
	s := open(t, t.TempDir())
	err := s.Say("c", shoot.Word{Line: &shoot.Line{Offset: math.NaN()}}, "x")
	if fault.KindOf(err) != fault.Usage {
		t.Errorf("Say of no number: %v", err)
	}
	if undo, _, err := s.Ahead(); undo != nil || err != nil {
		t.Errorf("it left the step %v, %v", undo, err)
	}
}

func TestClosedShoot(t *testing.T) {
	s := open(t, t.TempDir())
	must(t, s.Close())
	if _, err := s.Words(); fault.KindOf(err) != fault.Internal {
		t.Errorf("Words of a closed shoot: %v", err)
	}
	if err := s.Say("c", shoot.Word{Approved: true}, "x"); fault.KindOf(err) != fault.Internal {
		t.Errorf("Say in a closed shoot: %v", err)
	}
}
