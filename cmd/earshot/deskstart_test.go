package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// A second start finds the first, adds to its shoot what it was given, and ends;
// a desk that was killed is not taken for one that is open.
func TestSecondStartFindsTheFirst(t *testing.T) {
	folder, more := t.TempDir(), t.TempDir()
	first := startDesk(t, folder)
	second := exec.Command(first.cmd.Path, "desk", "--no-open", "--shoot", folder, "--cache", kept(t), more)
	out, err := second.CombinedOutput()
	if err != nil || !strings.Contains(string(out), "was open already") || deskURL.FindString(string(out)) != first.url {
		t.Errorf("the second start says %q, %v; the first is at %s", out, err, first.url)
	}
	var s struct{ Shoot struct{ Paths []string } }
	if err := enter(t, first.url).ask("GET", "/api/state", nil, &s); err != nil || len(s.Shoot.Paths) != 1 || !sameFolder(s.Shoot.Paths[0], more) {
		t.Errorf("the first has the paths %q, want %s: %v", s.Shoot.Paths, more, err)
	}
	first.kill()
	third := startDesk(t, folder)
	if third.url == first.url {
		t.Error("a desk that was killed was taken for one that is open")
	}
}

func sameFolder(a, b string) bool {
	x, err1 := filepath.EvalSymlinks(a)
	y, err2 := filepath.EvalSymlinks(b)
	return err1 == nil && err2 == nil && x == y
}

// Ctrl-C closes the desk with status 0 and leaves no beacon; so does the page.
func TestDeskClosesCleanly(t *testing.T) {
	for name, end := range map[string]func(*deskRun){
		"Ctrl-C":   func(d *deskRun) { _ = d.cmd.Process.Signal(os.Interrupt) },
		"the page": func(d *deskRun) { _ = enter(t, d.url).ask("POST", "/api/quit", map[string]any{}, nil) },
	} {
		d := startDesk(t, t.TempDir())
		end(d)
		ended := make(chan error, 1)
		go func() { ended <- d.cmd.Wait() }()
		select {
		case err := <-ended:
			if err != nil {
				t.Errorf("%s: %v", name, err)
			}
		case <-time.After(30 * time.Second):
			_ = d.cmd.Process.Signal(syscall.SIGQUIT)
			t.Fatalf("%s: it goes on", name)
		}
		left, _ := filepath.Glob(filepath.Join(kept(t), "desks", "*"))
		for _, path := range left {
			if b, err := os.ReadFile(path); err == nil && strings.Contains(string(b), d.folder) {
				t.Errorf("%s: %s is left", name, path)
			}
		}
	}
}

// Plain `earshot` opens the desk, in a folder of the day's own, and says where.
func TestPlainEarshotOpensTheDesk(t *testing.T) {
	home := t.TempDir()
	cmd := exec.Command(program(t))
	cmd.Dir = t.TempDir()
	cmd.Env = append(os.Environ(), "NO_COLOR=1", "HOME="+home, "USERPROFILE="+home, "EARSHOT_CACHE="+kept(t), "DISPLAY=", "WAYLAND_DISPLAY=")
	d := &deskRun{cmd: cmd}
	d.start(t)
	today := time.Now().Format("2006-01-02")
	var s struct{ Shoot struct{ Folder string } }
	if err := enter(t, d.url).ask("GET", "/api/state", nil, &s); err != nil || filepath.Base(s.Shoot.Folder) != today ||
		!sameFolder(filepath.Dir(s.Shoot.Folder), filepath.Join(home, "Earshot")) {
		t.Errorf("the shoot lies in %q: %v", s.Shoot.Folder, err)
	}
}
