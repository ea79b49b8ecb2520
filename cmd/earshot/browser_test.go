package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
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

// A page is one tab of a headless Chromium.
type page struct {
	t   *testing.T
	ctx context.Context

	mu     sync.Mutex
	wrongs []string // errors and warnings that the browser told
}

// browser is one Chromium for a test; a test is skipped where there is none.
func browser(t *testing.T) context.Context {
	t.Helper()
	var bin string
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "chrome"} {
		if path, err := exec.LookPath(name); err == nil && bin == "" {
			bin = path
		}
	}
	if bin == "" {
		if os.Getenv("EARSHOT_REFERENCE") != "" {
			t.Fatal("no Chromium on this machine")
		}
		t.Skip("no Chromium on this machine")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(bin), chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("autoplay-policy", "no-user-gesture-required"), chromedp.Flag("mute-audio", true), chromedp.WSURLReadTimeout(time.Minute))
	alloc, stop := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(stop)
	ctx, end := chromedp.NewContext(alloc)
	t.Cleanup(end)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("start Chromium: %v", err)
	}
	return ctx
}

// openPage opens a tab of the browser at an address.
func openPage(t *testing.T, browser context.Context, width, height int64, url string) *page {
	t.Helper()
	ctx, end := chromedp.NewContext(browser)
	t.Cleanup(end)
	if err := chromedp.Do(ctx); err != nil { // the first call, without a limit: one would end the tab with it
		t.Fatal(err)
	}
	p := &page{t: t, ctx: ctx}
	p.do("make the window", chromedp.EmulateViewport(width, height))
	go p.hear()
	p.visit(url)
	return p
}

// hear gathers what the browser says is wrong.
func (p *page) hear() {
	for m, err := range chromedp.Console(p.ctx) {
		if err != nil {
			return
		}
		switch m.Type {
		case chromedp.ConsoleError, chromedp.ConsoleWarning, chromedp.ConsoleException:
			p.mu.Lock()
			p.wrongs = append(p.wrongs, shorten(fmt.Sprintf("%s: %s", m.Type, m.Text), 300))
			p.mu.Unlock()
		}
	}
}

func shorten(s string, n int) string {
	if len(s) > n {
		return s[:n] + "…"
	}
	return s
}

// clean wants that the browser found nothing wrong.
func (p *page) clean() {
	p.t.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, w := range p.wrongs {
		p.t.Errorf("the browser says: %s", w)
	}
	p.wrongs = nil
}

// do runs actions, for at most a minute.
func (p *page) do(what string, actions ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, time.Minute)
	defer cancel()
	if err := chromedp.Do(ctx, actions...); err != nil {
		p.look("failed")
		p.t.Fatalf("%s: %v", what, err)
	}
}

// visit opens an address in the tab and waits for the desk's page.
func (p *page) visit(url string) {
	p.t.Helper()
	p.do("go to the page", chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, cdppage.Navigate, cdppage.NavigateParams{URL: url})
		return err
	}))
	p.until("the page is there", `location.pathname === '/' && document.querySelector('#main > *')`)
}

// look keeps a picture of the page where EARSHOT_LOOK names a folder.
func (p *page) look(name string) {
	dir := os.Getenv("EARSHOT_LOOK")
	if dir == "" {
		return
	}
	ctx, cancel := context.WithTimeout(p.ctx, 10*time.Second)
	defer cancel()
	if png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot()); err == nil {
		_ = os.WriteFile(filepath.Join(dir, strings.ReplaceAll(p.t.Name(), "/", "-")+"-"+name+".png"), png, 0o644)
	}
}

// js evaluates an expression, which may await, into v; nil: it is not asked for.
func (p *page) js(expr string, v any) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, time.Minute)
	defer cancel()
	got, err := chromedp.Run(ctx, chromedp.Evaluate[string](`(async () => { `+find+`; return JSON.stringify((`+expr+`) ?? null) })()`, chromedp.EvalAwaitPromise))
	if err == nil && v != nil {
		err = json.Unmarshal([]byte(got), v)
	}
	if err != nil {
		p.look("failed")
		p.t.Fatalf("%s: %v", shorten(expr, 200), err)
	}
}

// find finds what can be pressed, is called so, and shows.
const find = `const find = (name) => [...document.querySelectorAll('button, a, summary, [role=button], [role=tab], label')].find((e) => e.offsetParent && !e.disabled && ((e.innerText ?? '').trim().split('\n')[0].trim() === name || e.getAttribute('aria-label') === name))`

// until waits until an expression is true.
func (p *page) until(what, expr string) {
	p.t.Helper()
	end := time.Now().Add(2 * time.Minute)
	for ok := false; !ok; {
		if p.js("Boolean("+expr+")", &ok); ok {
			return
		}
		if time.Now().After(end) {
			p.look("waited")
			var text string
			p.js("document.body.innerText", &text)
			p.t.Fatalf("waited in vain until %s; the page says:\n%s", what, shorten(text, 1500))
		}
		time.Sleep(50 * time.Millisecond)
	}
}

// keys presses keys, one after the other: single characters, or names such as
// "Enter" and "ArrowRight".
func (p *page) keys(names ...string) {
	p.t.Helper()
	named := map[string]string{"Enter": kb.Enter, "Escape": kb.Escape, "Tab": kb.Tab, "ArrowRight": kb.ArrowRight, "ArrowLeft": kb.ArrowLeft,
		"ArrowUp": kb.ArrowUp, "ArrowDown": kb.ArrowDown, "Home": kb.Home, "End": kb.End, "PageUp": kb.PageUp, "PageDown": kb.PageDown, "Space": " "}
	for _, name := range names {
		key, ok := named[name]
		if !ok {
			key = name
		}
		p.do("press "+name, chromedp.KeyEvent(key))
	}
}

// press clicks the button, link or tab that is called so.
func (p *page) press(name string) {
	p.t.Helper()
	quoted, _ := json.Marshal(name)
	p.until("there is something called "+name, `find(`+string(quoted)+`)`)
	p.js(`find(`+string(quoted)+`).click()`, nil)
}

// state is what the program shows, asked for by the page.
func (p *page) state() (s deskState) {
	p.t.Helper()
	p.js(`await fetch('/api/state').then((r) => r.json())`, &s)
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
