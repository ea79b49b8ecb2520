package store

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"
)

// The test binary runs itself as another process on a shoot: from the number
// on, it does one thing after the other and prints each one's number after it
// was done, until it has done so many or is killed.
const (
	childDir  = "EARSHOT_TEST_SHOOT"
	childVFS  = "EARSHOT_TEST_SHOOT_VFS"
	childFrom = "EARSHOT_TEST_SHOOT_FROM"
	childMany = "EARSHOT_TEST_SHOOT_MANY"

	childFailed = 3 // its exit status; killed it has another
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		if err := childActs(dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(childFailed)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

func childActs(dir string) error {
	from, err := strconv.Atoi(os.Getenv(childFrom))
	if err != nil {
		return err
	}
	many, err := strconv.Atoi(os.Getenv(childMany))
	if err != nil {
		return err
	}
	steps, err := migrations()
	if err != nil {
		return err
	}
	s, err := openShoot(dir, os.Getenv(childVFS), steps)
	if err != nil {
		return err
	}
	for i := from; i < from+many; i++ {
		if err := act(s, i); err != nil {
			return err
		}
		if _, err := fmt.Println(i); err != nil {
			return err // nobody listens any more
		}
	}
	return s.Close()
}

// child prepares another process on the shoot in dir.
func child(t *testing.T, dir, vfs string, from, many int, through ...string) *exec.Cmd {
	t.Helper()
	me, err := os.Executable()
	must(t, err)
	args := append(through, me)
	cmd := exec.Command(args[0], args[1:]...)
	cmd.Env = append(os.Environ(), childDir+"="+dir, childVFS+"="+vfs, childFrom+"="+strconv.Itoa(from), childMany+"="+strconv.Itoa(many))
	cmd.Stderr = os.Stderr
	return cmd
}

// atOnce has killed count its moment from the instant at which the file appears.
const atOnce = -1

// killed starts another process on the shoot, kills it at a moment after it has
// printed so many numbers, and returns the last one it printed; from-1 if none.
func killed(t *testing.T, dir, vfs string, from, after int, moment time.Duration) int {
	t.Helper()
	cmd := child(t, dir, vfs, from, 1<<30)
	out, err := cmd.StdoutPipe()
	must(t, err)
	must(t, cmd.Start())
	last := from - 1
	lines := bufio.NewReader(out)
	next := func() bool {
		line, err := lines.ReadString('\n')
		if err != nil {
			if err != io.EOF {
				t.Error(err)
			}
			return false // of a cut line nothing is known
		}
		n, err := strconv.Atoi(strings.TrimSpace(line))
		must(t, err)
		if n != last+1 {
			t.Errorf("%d was done after %d", n, last)
		}
		last = n
		return true
	}
	for range after {
		if !next() {
			break
		}
	}
	for waited := 0; after == atOnce && !HasShoot(dir); waited++ {
		if time.Sleep(100 * time.Microsecond); waited > 600_000 {
			t.Error("no file appears")
			break
		}
	}
	time.Sleep(moment)
	must(t, cmd.Process.Kill())
	for next() {
	}
	if err := cmd.Wait(); err == nil || cmd.ProcessState.ExitCode() == childFailed {
		t.Fatalf("the process was not killed: %v", cmd.ProcessState)
	}
	return last
}

// Whatever moment a process is killed at: everything it had done is there, at
// most the one thing it was doing besides, whole; and the history fits.
func TestKilledAtAnyMoment(t *testing.T) {
	const seed = 20
	r := rand.New(rand.NewPCG(seed, 1))
	for _, tt := range []struct {
		name  string
		kills int
		fresh bool // each time a new shoot, killed while or after it is made
		vfs   string
	}{
		{"at work", 30, false, ""},
		{"while it is made", 20, true, ""},
		{"at work with a rollback journal", 30, false, vfsAlone},
		{"while it is made with a rollback journal", 20, true, vfsAlone},
	} {
		t.Run(tt.name, func(t *testing.T) {
			needs(t, tt.vfs)
			dir, m, next := t.TempDir(), newModel(), 0
			for range tt.kills {
				after, moment := 1+r.IntN(40), time.Duration(r.IntN(4000))*time.Microsecond
				if tt.fresh {
					dir, m, next = t.TempDir(), newModel(), 0
					after = atOnce
				}
				last := killed(t, dir, tt.vfs, next, after, moment)
				for ; next <= last; next++ {
					must(t, act(m, next))
				}
				s := openBy(t, dir, tt.vfs)
				got := stateOf(t, s)
				if !reflect.DeepEqual(got, m.state()) {
					must(t, act(m, next))
					next++
				}
				if want := m.state(); !reflect.DeepEqual(got, want) {
					t.Fatalf("killed after %d was done: got %+v, want %+v", last, got, want)
				}
				checkSteps(t, s)
				must(t, s.Close())
			}
			t.Logf("%d things done in the last shoot", next)
			if !tt.fresh && next < tt.kills {
				t.Error("hardly anything was done")
			}
		})
	}
}

// What a commit wrote is on the disk before the next thing begins, seen from
// outside: strace (1) shows, between any two numbers printed, that the process
// waited for the log at least once. Things that change nothing need not.
func TestCommitWaitsForTheDisk(t *testing.T) {
	strace, err := exec.LookPath("strace")
	if err != nil {
		t.Skip("this check needs strace")
	}
	dir, trace := t.TempDir(), filepath.Join(t.TempDir(), "trace")
	if overNetwork(dir) {
		t.Skip("this check needs a disk of this machine")
	}
	const many = 40
	cmd := child(t, dir, "", 0, many, strace, "-f", "-y", "-o", trace, "-e", "trace=fsync,fdatasync,write")
	out, err := cmd.Output()
	if err != nil {
		t.Skipf("strace may not trace here: %v", err)
	}
	text, err := os.ReadFile(trace)
	must(t, err)
	changes, m := map[int]bool{}, newModel()
	for i := range many {
		before := m.state()
		must(t, act(m, i))
		changes[i] = !reflect.DeepEqual(before, m.state())
	}
	waited, printed := false, 0
	for line := range strings.Lines(string(text)) {
		switch {
		case strings.Contains(line, "sync(") && strings.Contains(line, shootFile+"-wal>"):
			waited = true
		case strings.Contains(line, fmt.Sprintf(`, "%d\n", `, printed)):
			if changes[printed] && !waited {
				t.Errorf("%d was told before the disk had it", printed)
			}
			waited, printed = false, printed+1
		}
	}
	if printed != many || len(out) == 0 {
		t.Errorf("%d of %d numbers are in the trace", printed, many)
	}
}
