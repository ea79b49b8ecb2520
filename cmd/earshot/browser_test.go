package main

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"sync"
	"testing"

	"earshot/internal/web/webtest"
)

// A deskStep is what can be undone, or done again.
type deskStep struct {
	Label, Take string
	More        int
}

// A deskRun is the program serving a desk, as a process of its own.
type deskRun struct {
	cmd    *exec.Cmd
	url    string
	folder string
	home   string // the person's own folder, empty at first
}

var deskURL = regexp.MustCompile(`http://127\.0\.0\.1:\d+/enter\?t=\S+`)

// built is the program as it ships, built once for all tests that want it as it
// is: what watches a test for races makes it many times slower.
var built = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "earshot-test-program-")
	if err != nil {
		return "", err
	}
	bin := filepath.Join(dir, "earshot")
	if runtime.GOOS == "windows" {
		bin += ".exe"
	}
	cmd := exec.Command("go", "build", "-o", bin, ".")
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := cmd.CombinedOutput(); err != nil {
		return "", fmt.Errorf("build the program: %w\n%s", err, out)
	}
	return bin, nil
})

// program is the path of the program, built.
func program(t testing.TB) string {
	t.Helper()
	bin, err := built()
	if err != nil {
		t.Fatal(err)
	}
	builtDir = filepath.Dir(bin)
	return bin
}

// builtDir is what program made, to be removed at the end.
var builtDir string

// startDesk starts `earshot desk` on the shoot in folder. It ends with the test.
func startDesk(t testing.TB, folder string, add ...string) *deskRun {
	t.Helper()
	home := t.TempDir()
	args := append([]string{"desk", "--no-open", "--shoot", folder, "--cache", kept(t)}, add...)
	d := &deskRun{cmd: exec.Command(program(t), args...), folder: folder, home: home}
	d.cmd.Env = append(os.Environ(), "NO_COLOR=1", "HOME="+home)
	d.start(t)
	return d
}

// start starts the program and reads its address.
func (d *deskRun) start(t testing.TB) {
	t.Helper()
	d.cmd.Stderr = os.Stderr
	out, err := d.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := d.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.kill() })
	lines := bufio.NewScanner(out)
	for d.url == "" && lines.Scan() {
		d.url = deskURL.FindString(lines.Text())
	}
	if d.url == "" {
		t.Fatalf("the desk said no address: %v", lines.Err())
	}
	go func() {
		for lines.Scan() { // what it says later is nobody's
		}
	}()
}

func (d *deskRun) kill() {
	if d.cmd.ProcessState == nil {
		d.cmd.Process.Kill()
		d.cmd.Wait()
	}
}

// A page is a tab with the desk in it.
type page struct{ *webtest.Page }

// openPage opens a tab of a browser at an address.
func openPage(t testing.TB, browser webtest.Chromium, width, height int64, url string) *page {
	t.Helper()
	return &page{webtest.Open(t, browser, width, height, url)}
}

// state is what the program shows, asked for by the page.
func (p *page) state() (s deskState) {
	p.T.Helper()
	p.JS(`await fetch('/api/state').then((r) => r.json())`, &s)
	return s
}

// deskState is the part of the desk's state that the tests look at.
type deskState struct {
	Version    int64
	Work       struct{ Busy bool }
	Recordings []struct {
		ID, Name, Kind, State string
		Length                float64 `json:"length_s"`
		Alone                 []string
	}
	Takes []struct {
		ID, Sound, Verdict, Status string
		Moved                      float64 `json:"moved_ms"`
		Line                       line
		Word                       struct {
			Approved   bool
			Name, Note string
		}
	}
	Undo     *deskStep
	Redo     *deskStep
	Marriage struct {
		Busy  bool
		Error string
		Clips []struct {
			Take, Out, State string
			Proof            *struct {
				State string
				Late  float64 `json:"late_ms"`
			}
		}
	}
}
