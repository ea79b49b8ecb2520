package store

import (
	"bytes"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"earshot/internal/fault"
	"earshot/internal/shoot"
)

// build runs SQL on a new file of a new folder and returns the folder.
func build(t *testing.T, text string) string {
	t.Helper()
	dir := t.TempDir()
	name, err := source(filepath.Join(dir, shootFile), "")
	must(t, err)
	db, err := sql.Open("sqlite", name)
	must(t, err)
	defer db.Close()
	_, err = db.Exec(text)
	must(t, err)
	return dir
}

// schema is every table and index as the file has it, without comments and
// spaces.
func schema(t *testing.T, s *Shoot) (out []string) {
	query(t, s, "SELECT sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY name", func(row []string) {
		var text strings.Builder
		for line := range strings.Lines(row[0]) {
			code, _, _ := strings.Cut(line, "--")
			text.WriteString(strings.Join(strings.Fields(code), ""))
		}
		out = append(out, strings.ReplaceAll(text.String(), `"`, ""))
	})
	return out
}

// A shoot of every form there ever was opens and holds what it held. The files
// in testdata/forms, one a form, all hold the same shoot, as a form's own
// program left it.
func TestEveryOlderForm(t *testing.T) {
	steps, err := migrations()
	must(t, err)
	fresh := schema(t, open(t, t.TempDir()))
	later := shoot.Word{Approved: true, Sound: "5f0c", Line: &shoot.Line{Offset: 12.5, Drift: -3.25}, Refused: []string{"77aa"}, Name: "Interview", Note: "läuft"}
	for form := 1; form <= len(steps); form++ {
		text, err := os.ReadFile(fmt.Sprintf("testdata/forms/%04d.sql", form))
		if err != nil {
			t.Fatalf("form %d has no shoot: %v", form, err)
		}
		s := open(t, build(t, string(text)))
		want := state{
			Words: map[string]shoot.Word{"c1": later, "c2": {Note: "wind"}},
			Paths: []string{"/card/A", "/body mic"},
			Kept:  map[string]string{"measured": `{"takes":[]}`},
			Undo:  &shoot.Step{Clip: "c1", Label: "laid 1.0 ms later"}, Redo: &shoot.Step{Clip: "c2", Label: "approved"},
		}
		if got := stateOf(t, s); !reflect.DeepEqual(got, want) {
			t.Errorf("form %d holds %+v, want %+v", form, got, want)
		}
		if got := schema(t, s); !slices.Equal(got, fresh) {
			t.Errorf("form %d becomes\n%s\nand a new shoot is\n%s", form, strings.Join(got, "\n"), strings.Join(fresh, "\n"))
		}
		checkSteps(t, s)
		must(t, s.Say("c2", shoot.Word{Approved: true}, "approved"))
		checkSteps(t, again(t, s))
	}
	if _, err := os.Stat(fmt.Sprintf("testdata/forms/%04d.sql", len(steps)+1)); err == nil {
		t.Errorf("testdata has a form %d, and there are only %d migrations", len(steps)+1, len(steps))
	}
}

// Migrations are done all or not at all, each once, and a shoot that a later
// program made is left as it is.
func TestMigrate(t *testing.T) {
	now, err := migrations()
	must(t, err)
	dir := t.TempDir()
	must(t, open(t, dir).Close())
	path := filepath.Join(dir, shootFile)
	before, err := os.ReadFile(path)
	must(t, err)
	later := append(slices.Clone(now), "ALTER TABLE paths ADD COLUMN colour TEXT; UPDATE shoot SET revision = 1000")
	if s, err := openShoot(dir, "", append(slices.Clone(later), "CREATE TABLE a (b); INSERT INTO nowhere VALUES (1)")); err == nil {
		s.Close()
		t.Fatal("a migration that fails went through")
	}
	unchanged(t, path, before)
	for range 2 {
		s, err := openShoot(dir, "", later)
		must(t, err)
		if got := fmt.Sprint(schema(t, s)); !strings.Contains(got, "colour") {
			t.Errorf("the second migration was not done: %s", got)
		}
		if n, err := s.Revision(); n != 1000 || err != nil {
			t.Errorf("Revision = %d, %v", n, err)
		}
		must(t, s.Close())
	}
	before, err = os.ReadFile(path)
	must(t, err)
	refused(t, dir, "newer Earshot", "newer Earshot")
	unchanged(t, path, before)
}

// refused checks that the shoot in dir cannot be read, why, and what is advised.
func refused(t *testing.T, dir, why, hint string) {
	t.Helper()
	s, err := OpenShoot(dir)
	if err == nil {
		s.Close()
		t.Fatalf("opened, want %q", why)
	}
	if fault.KindOf(err) != fault.Unreadable || !strings.Contains(err.Error(), why) || !strings.Contains(err.Error(), shootFile) || !strings.Contains(fault.HintOf(err), hint) {
		t.Errorf("got %v (kind %v, hint %q), want Unreadable, %q, hint %q", err, fault.KindOf(err), fault.HintOf(err), why, hint)
	}
}

// unchanged checks a file's bytes, and that nothing lies beside it.
func unchanged(t *testing.T, path string, want []byte) {
	t.Helper()
	if got, err := os.ReadFile(path); err != nil || !bytes.Equal(got, want) {
		t.Errorf("the file was changed: %d bytes, were %d; %v", len(got), len(want), err)
	}
	names, err := filepath.Glob(path + "*")
	if err != nil || len(names) != 1 {
		t.Errorf("beside it lies %v, %v", names, err)
	}
}

// What is no shoot, or a damaged one, is refused and left byte for byte as it is.
func TestRefused(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	for i := range 400 {
		must(t, act(s, i))
	}
	must(t, s.Close())
	good, err := os.ReadFile(filepath.Join(dir, shootFile))
	must(t, err)
	if len(good) < 20*4096 {
		t.Fatalf("a shoot of only %d bytes", len(good))
	}
	with := func(at int, b []byte) []byte { c := slices.Clone(good); copy(c[at:], b); return c }
	noise := bytes.Repeat([]byte{0xa5, 0x5a, 0x13}, len(good)/3)
	foreign := build(t, "CREATE TABLE theirs (a); PRAGMA user_version = 1")
	theirs, err := os.ReadFile(filepath.Join(foreign, shootFile))
	must(t, err)
	for _, tt := range []struct {
		name, why, hint string
		content         []byte
	}{
		{"a text", "no shoot of Earshot", "left as it is", []byte("Dear diary,\n")},
		{"two bytes", "no shoot of Earshot", "left as it is", []byte{0, 0}},
		{"noise", "no shoot of Earshot", "left as it is", noise},
		{"zeros", "no shoot of Earshot", "left as it is", make([]byte, 8192)},
		{"another program's", "another program's", "left as it is", theirs},
		{"the first page lost", "no shoot of Earshot", "left as it is", with(0, make([]byte, 4096))},
		{"the head alone", "damaged", "backup", good[:4096]},
		{"cut in half", "damaged", "backup", good[:len(good)/2]},
		{"the last page lost", "damaged", "backup", good[:len(good)-4096]},
		{"pages of noise", "damaged", "backup", with(2*4096, noise[:6*4096])},
		{"pages of zeros", "damaged", "backup", with(4096, make([]byte, 8*4096))},
		{"form below any", "damaged", "backup", with(60, []byte{0xff, 0xff, 0xff, 0xff})},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, shootFile)
			must(t, os.WriteFile(path, tt.content, 0o600))
			refused(t, dir, tt.why, tt.hint)
			unchanged(t, path, tt.content)
		})
	}
}

// No flipped byte makes the program panic, and a shoot that opens all the same
// can be read or says that it is damaged.
func TestFlippedBytes(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	for i := range 60 {
		must(t, act(s, i))
	}
	must(t, s.Close())
	path := filepath.Join(dir, shootFile)
	good, err := os.ReadFile(path)
	must(t, err)
	var refusals int
	for at := 0; at < len(good); at += 1 + at/9 {
		bad := slices.Clone(good)
		bad[at] ^= 0xff
		must(t, os.WriteFile(path, bad, 0o600))
		s, err := OpenShoot(dir)
		if err == nil {
			_, err1 := s.Words()
			_, _, err2 := s.Ahead()
			_, err3 := s.Paths()
			_, err4 := s.Undo()
			for _, e := range []error{err1, err2, err3, err4} {
				if e != nil {
					err = e
				}
			}
			s.Close()
		}
		if err != nil {
			refusals++
			if fault.HintOf(err) == "" && fault.KindOf(err) != fault.Internal {
				t.Errorf("byte %d flipped: %v, without a hint", at, err)
			}
		}
	}
	if refusals == 0 {
		t.Error("nothing was ever refused")
	}
}

// A file that was lost or emptied beside a journal that holds what was said is
// not begun anew over it; an empty one alone, as a kill in the first instant
// leaves it, is.
func TestLostFile(t *testing.T) {
	for _, emptied := range []bool{false, true} {
		dir := t.TempDir()
		s := open(t, dir)
		must(t, s.Say("c", shoot.Word{Approved: true}, "approved"))
		log, err := os.ReadFile(s.path + "-wal")
		must(t, err)
		must(t, s.Close())
		must(t, os.Remove(s.path))
		must(t, os.WriteFile(s.path+"-wal", log, 0o600))
		if emptied {
			must(t, os.WriteFile(s.path, nil, 0o600))
		}
		refused(t, dir, "is still there", "put the file back")
		if now, err := os.ReadFile(s.path + "-wal"); err != nil || !bytes.Equal(now, log) || HasShoot(dir) != emptied {
			t.Errorf("the journal did not stay: %v", err)
		}
	}
	dir := t.TempDir()
	must(t, os.WriteFile(filepath.Join(dir, shootFile), nil, 0o600))
	must(t, open(t, dir).Say("c", shoot.Word{Approved: true}, "approved"))
}

// Where no folder can be made, or something else has the file's name.
func TestNoPlace(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	must(t, os.WriteFile(file, nil, 0o600))
	if _, err := OpenShoot(filepath.Join(file, "in it")); fault.KindOf(err) != fault.Unwritable || fault.HintOf(err) == "" {
		t.Errorf("a shoot in a file: %v", err)
	}
	must(t, os.Mkdir(filepath.Join(dir, shootFile), 0o700))
	if HasShoot(dir) {
		t.Error("HasShoot takes a folder for one")
	}
	refused(t, dir, "it is a folder", "left as it is")
}
