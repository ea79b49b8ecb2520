package main

import (
	"bufio"
	"os"
	"os/exec"
	"regexp"
	"testing"

	"earshot/internal/web/webtest"
)

// A deskRun is the program serving a desk, as a process of its own.
type deskRun struct {
	cmd    *exec.Cmd
	url    string
	folder string
}

var deskURL = regexp.MustCompile(`http://127\.0\.0\.1:\d+/enter\?t=\S+`)

// startDesk starts `earshot desk` on the shoot in folder. It ends with the test.
func startDesk(t *testing.T, folder string, add ...string) *deskRun {
	t.Helper()
	bin, err := exec.LookPath("earshot")
	if err != nil {
		t.Fatal(err)
	}
	args := append([]string{"desk", "--no-open", "--shoot", folder, "--cache", kept(t)}, add...)
	d := &deskRun{cmd: exec.Command(bin, args...), folder: folder}
	d.cmd.Env = append(os.Environ(), "NO_COLOR=1", "HOME="+t.TempDir())
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
	return d
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
func openPage(t *testing.T, browser webtest.Chromium, width, height int64, url string) *page {
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
		Alone                 []string
	}
	Takes []struct {
		ID, Sound, Verdict, Status string
		Moved                      float64 `json:"moved_ms"`
		Word                       struct {
			Approved   bool
			Name, Note string
		}
	}
	Undo     *struct{ Label, Take string }
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
