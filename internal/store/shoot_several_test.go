package store

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"reflect"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"

	"earshot/internal/fault"
	"earshot/internal/shoot"
)

// Ways of SQLite's to reach files on Unix, by which nothing can be shared, so
// that a shoot has a rollback journal; see sqlite.org/vfs.html.
const (
	vfsAlone    = "unix-none"    // without locks
	vfsDotfiles = "unix-dotfile" // locked by a file beside the file
)

func needs(t testing.TB, vfs string) {
	if vfs != "" && runtime.GOOS == "windows" {
		t.Skip("this check needs SQLite's ways to reach files on Unix")
	}
}

func openBy(t testing.TB, dir, vfs string) *Shoot {
	t.Helper()
	steps, err := migrations()
	must(t, err)
	s, err := openShoot(dir, vfs, steps)
	must(t, err)
	t.Cleanup(func() { s.Close() })
	return s
}

func pragma(t *testing.T, s *Shoot, name string) (got string) {
	t.Helper()
	query(t, s, "PRAGMA "+name, func(row []string) { got = row[0] })
	return got
}

// Each commit waits for the disk, whatever journal there is.
func TestJournal(t *testing.T) {
	for _, vfs := range []string{"", vfsAlone, vfsDotfiles} {
		t.Run("by "+vfs, func(t *testing.T) {
			needs(t, vfs)
			s := openBy(t, t.TempDir(), vfs)
			want := "wal"
			if vfs != "" || overNetwork(s.dir) {
				want = "truncate"
			}
			if got := pragma(t, s, "journal_mode"); got != want {
				t.Errorf("journal %s, want %s", got, want)
			}
			if got := pragma(t, s, "synchronous"); got != "3" { // EXTRA; sqlite.org/pragma.html
				t.Errorf("synchronous = %s, want 3", got)
			}
			m := newModel()
			for i := range 120 {
				must(t, act(s, i))
				must(t, act(m, i))
			}
			must(t, s.Close())
			s = openBy(t, s.dir, vfs)
			if got, want := stateOf(t, s), m.state(); !reflect.DeepEqual(got, want) {
				t.Errorf("got %+v, want %+v", got, want)
			}
			checkSteps(t, s)
		})
	}
}

// A shoot that a killed process left with a log is opened where nothing can be
// shared, and goes back to a log where it can.
func TestLogWithoutSharing(t *testing.T) {
	needs(t, vfsAlone)
	dir, m := t.TempDir(), newModel()
	next := 1 + killed(t, dir, "", 0, 50, 0)
	for i := range next {
		must(t, act(m, i))
	}
	if info, err := os.Stat(dir + "/" + shootFile + "-wal"); err != nil || info.Size() == 0 {
		t.Fatalf("the killed process left no log: %v", err)
	}
	for _, vfs := range []string{vfsAlone, "", vfsAlone} {
		s := openBy(t, dir, vfs)
		got := stateOf(t, s)
		if !reflect.DeepEqual(got, m.state()) { // what it was doing when it was killed
			must(t, act(m, next))
		}
		if want := m.state(); !reflect.DeepEqual(got, want) {
			t.Fatalf("by %q: got %+v, want %+v", vfs, got, want)
		}
		must(t, s.Keep("measured", []byte(vfs)))
		must(t, m.Keep("measured", []byte(vfs)))
		next = 1 << 20
		must(t, s.Close())
	}
}

// Two Shoots on one file: undo in one takes back what the other said.
func TestTwoShoots(t *testing.T) {
	one := open(t, t.TempDir())
	two := open(t, one.Dir())
	must(t, one.Say("a", shoot.Word{Note: "one"}, "by one"))
	must(t, two.Say("a", shoot.Word{Note: "two"}, "by two"))
	step, err := one.Undo()
	if want := (&shoot.Step{Clip: "a", Label: "by two"}); err != nil || !reflect.DeepEqual(step, want) {
		t.Errorf("Undo = %+v, %v, want %+v", step, err, want)
	}
	if words, err := two.Words(); err != nil || words["a"].Note != "one" {
		t.Errorf("the other sees %+v, %v", words, err)
	}
	must(t, two.Say("b", shoot.Word{Approved: true}, "approved"))
	if undo, redo, err := one.Ahead(); err != nil || undo == nil || undo.Clip != "b" || redo != nil {
		t.Errorf("Ahead = %+v, %+v, %v", undo, redo, err)
	}
	must(t, one.Close())
	must(t, two.Say("c", shoot.Word{Approved: true}, "approved"))
	if got := len(stateOf(t, again(t, two)).Words); got != 3 {
		t.Errorf("%d words, want 3", got)
	}
}

// Goroutines over two Shoots on one file, some undoing and doing again: no
// step is lost, and the history fits.
func TestConcurrentWriters(t *testing.T) {
	one := open(t, t.TempDir())
	two := open(t, one.Dir())
	const writers, each = 8, 40
	var all sync.WaitGroup
	errs := make(chan error, 3*writers)
	for w := range writers {
		s := []*Shoot{one, two}[w%2]
		all.Go(func() {
			for i := range each {
				if err := s.Say(fmt.Sprint("clip ", w), shoot.Word{Note: fmt.Sprint(i)}, "said"); err != nil {
					errs <- err
					return
				}
				if w < 2 && i%5 == 0 {
					_, err1 := s.Undo()
					_, err2 := s.Redo()
					_, err3 := s.Words()
					if err := errors.Join(err1, err2, err3); err != nil {
						errs <- err
						return
					}
				}
			}
		})
	}
	all.Wait()
	close(errs)
	for err := range errs {
		t.Error(err)
	}
	checkSteps(t, one)
	if steps := number(t, one, "SELECT count(*) FROM steps"); steps < writers*each {
		t.Errorf("%d steps in the file, %d were done", steps, writers*each)
	}
}

// number returns the one number that a query gives.
func number(t *testing.T, s *Shoot, q string) (n int) {
	t.Helper()
	query(t, s, q, func(row []string) {
		var err error
		n, err = strconv.Atoi(row[0])
		must(t, err)
	})
	return n
}

// Four processes at work on one new shoot, each with a share of the things to
// do: all of it is done, each in its order.
func TestSeveralProcesses(t *testing.T) {
	for _, vfs := range []string{"", vfsDotfiles} {
		t.Run("by "+vfs, func(t *testing.T) {
			needs(t, vfs)
			dir := t.TempDir()
			const many, processes = 60, 4
			var cmds []*exec.Cmd
			for i := range processes {
				cmd := child(t, dir, vfs, 1000*(i+1), many)
				must(t, cmd.Start())
				cmds = append(cmds, cmd)
			}
			for _, cmd := range cmds {
				if err := cmd.Wait(); err != nil {
					t.Error(err)
				}
			}
			s := openBy(t, dir, vfs)
			checkSteps(t, s)
			last := map[int]int{}
			var all int
			query(t, s, "SELECT label FROM steps WHERE deed IS NULL OR deed = id ORDER BY id", func(row []string) {
				n, err := strconv.Atoi(row[0][strings.LastIndexByte(row[0], ' ')+1:])
				must(t, err)
				if who := n / 1000; n <= last[who] {
					t.Errorf("process %d: %d came after %d", who, n, last[who])
				} else {
					last[who] = n
				}
				all++
			})
			if all < processes*many/2 || len(last) != processes {
				t.Errorf("%d steps by %d processes", all, len(last))
			}
		})
	}
}

// A full disk and a lock that is not let go lose nothing that was said before,
// and say what to do.
func TestFullAndHeld(t *testing.T) {
	s := open(t, t.TempDir())
	must(t, s.Say("c", shoot.Word{Note: "before"}, "noted"))
	want := stateOf(t, s)
	failed := func(err error, why, hint string) {
		t.Helper()
		if fault.KindOf(err) != fault.Unwritable || !strings.Contains(err.Error(), why) || !strings.Contains(fault.HintOf(err), hint) {
			t.Errorf("got %v (hint %q), want Unwritable, %q", err, fault.HintOf(err), why)
		}
		if got := stateOf(t, s); !reflect.DeepEqual(got, want) {
			t.Errorf("got %+v, want %+v", got, want)
		}
	}
	pages := pragma(t, s, "page_count")
	if got := pragma(t, s, "max_page_count = "+pages); got != pages {
		t.Fatalf("max_page_count = %s, want %s", got, pages)
	}
	failed(s.Keep("measured", make([]byte, 1<<20)), "disk is full", "free some space")
	failed(s.Say("c", shoot.Word{Note: strings.Repeat("x", 1<<16)}, "noted"), "disk is full", "free some space")
	pragma(t, s, "max_page_count = 1000000")

	two := open(t, s.Dir())
	tx, err := two.db.Begin()
	must(t, err)
	pragma(t, s, "busy_timeout = 20")
	failed(s.Say("c", shoot.Word{Note: "held"}, "noted"), "another program holds it", "close")
	must(t, tx.Rollback())
	must(t, s.Say("c", shoot.Word{Note: "after"}, "noted"))
}

// python returns a Python that has the sqlite3 module. The test is skipped when
// there is none, and fails instead when EARSHOT_REFERENCE is 1.
func python(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(name, "-c", "import sqlite3").Run() == nil {
			return name
		}
	}
	if os.Getenv("EARSHOT_REFERENCE") == "1" {
		t.Fatal("this check needs python3 with its module sqlite3 (Debian: python3)")
	}
	t.Skip("this check needs python3 with its module sqlite3 (Debian: python3)")
	return ""
}

// SQLite as Python has it finds the file whole and reads the same words, while
// a Shoot has it open and afterwards.
func TestAgainstSQLiteOfPython(t *testing.T) {
	py := python(t)
	s := open(t, t.TempDir())
	for i := range 200 {
		must(t, act(s, i))
	}
	want := stateOf(t, s)
	look := func() {
		t.Helper()
		out, err := exec.Command(py, "-c", `
import json, sqlite3, sys
db = sqlite3.connect(sys.argv[1])
print(json.dumps({
	"whole": db.execute("PRAGMA integrity_check").fetchall() + db.execute("PRAGMA foreign_key_check").fetchall(),
	"words": {clip: json.loads(word) for clip, word in db.execute("SELECT clip, word FROM words")},
	"paths": [p for p, in db.execute("SELECT path FROM paths ORDER BY place")],
	"last": db.execute("SELECT label FROM steps JOIN shoot ON here = id").fetchone()[0],
	"kept": {name: b.decode() for name, b in db.execute("SELECT name, content FROM kept")}}))
`, s.path).CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		var got struct {
			Whole [][]string
			Words map[string]shoot.Word
			Paths []string
			Last  string
			Kept  map[string]string
		}
		must(t, json.Unmarshal(out, &got))
		if !reflect.DeepEqual(got.Whole, [][]string{{"ok"}}) {
			t.Errorf("integrity_check: %v", got.Whole)
		}
		if !reflect.DeepEqual(got.Words, want.Words) || !reflect.DeepEqual(got.Paths, want.Paths) || got.Last != want.Undo.Label || !reflect.DeepEqual(got.Kept, want.Kept) {
			t.Errorf("it reads %+v, want %+v", got, want)
		}
	}
	look()
	must(t, s.Close())
	look()
}
