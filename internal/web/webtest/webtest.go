// Package webtest drives the desk's page in a headless Chromium, for tests and
// measurements: a tab with its keys, what shows in it, and what its console says.
package webtest

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/chromedp/cdproto/cdp"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// T is what is asked of a test, or of a command that measures.
type T interface {
	Helper()
	Name() string
	Errorf(format string, args ...any)
	Fatalf(format string, args ...any)
	Skipf(format string, args ...any)
	Cleanup(func())
	TempDir() string
}

// A Chromium is a running browser: chromedp's context of it.
type Chromium = context.Context

// A Page is one tab of a headless Chromium.
type Page struct {
	T   T
	Ctx context.Context // chromedp's, of the tab

	mu     sync.Mutex
	wrongs []string // errors and warnings that the browser told
}

// Browser is one Chromium for a test; a test is skipped where there is none.
func Browser(t T, flags ...chromedp.ExecAllocatorOption) Chromium {
	t.Helper()
	bin := program(t, "Chromium", "chromium", "chromium-browser", "google-chrome", "chrome")
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(bin), chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("autoplay-policy", "no-user-gesture-required"), chromedp.Flag("mute-audio", true), chromedp.WSURLReadTimeout(time.Minute))
	opts = append(opts, flags...)
	alloc, stop := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(stop)
	ctx, end := chromedp.NewContext(alloc)
	t.Cleanup(end)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("start Chromium: %v", err)
	}
	return ctx
}

// program is the path of the first of names that is there; without one the test
// is skipped, and fails where EARSHOT_REFERENCE says that it must be there.
func program(t T, what string, names ...string) string {
	t.Helper()
	for _, name := range names {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	if os.Getenv("EARSHOT_REFERENCE") != "" {
		t.Fatalf("no %s on this machine", what)
	}
	t.Skipf("no %s on this machine", what)
	return ""
}

// Open opens a tab of the browser at an address.
func Open(t T, browser Chromium, width, height int64, url string) *Page {
	t.Helper()
	ctx, end := chromedp.NewContext(browser)
	t.Cleanup(end)
	if err := chromedp.Do(ctx); err != nil { // the first call, without a limit: one would end the tab with it
		t.Fatalf("open a tab: %v", err)
	}
	p := &Page{T: t, Ctx: ctx}
	p.Do("make the window", chromedp.EmulateViewport(width, height))
	go p.hear()
	p.Visit(url)
	return p
}

// hear gathers what the browser says is wrong.
func (p *Page) hear() {
	for m, err := range chromedp.Console(p.Ctx) {
		if err != nil {
			return
		}
		switch m.Type {
		case chromedp.ConsoleError, chromedp.ConsoleWarning, chromedp.ConsoleException:
			p.mu.Lock()
			p.wrongs = append(p.wrongs, shorten(fmt.Sprintf("%s: %s %s", m.Type, m.Text, m.URL), 300))
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

// Clean wants that the browser found nothing wrong.
func (p *Page) Clean() {
	p.T.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, w := range p.wrongs {
		p.T.Errorf("the browser says: %s", w)
	}
	p.wrongs = nil
}

// Do runs actions, for at most a minute.
func (p *Page) Do(what string, actions ...chromedp.Action[chromedp.Void]) {
	p.T.Helper()
	ctx, cancel := context.WithTimeout(p.Ctx, time.Minute)
	defer cancel()
	if err := chromedp.Do(ctx, actions...); err != nil {
		p.Look("failed")
		p.T.Fatalf("%s: %v", what, err)
	}
}

// Visit opens an address in the tab and waits for the desk's page.
func (p *Page) Visit(url string) {
	p.T.Helper()
	p.Do("go to the page", chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, cdppage.Navigate, cdppage.NavigateParams{URL: url})
		return err
	}))
	p.Until("the page is there", `location.pathname === '/' && document.querySelector('#main > *')`)
}

// Look keeps a picture of the page where EARSHOT_LOOK names a folder.
func (p *Page) Look(name string) {
	dir := os.Getenv("EARSHOT_LOOK")
	if dir == "" {
		return
	}
	ctx, cancel := context.WithTimeout(p.Ctx, 10*time.Second)
	defer cancel()
	if png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot()); err == nil {
		_ = os.WriteFile(filepath.Join(dir, strings.ReplaceAll(p.T.Name(), "/", "-")+"-"+name+".png"), png, 0o644)
	}
}

// JS evaluates an expression, which may await, into v; nil: it is not asked for.
func (p *Page) JS(expr string, v any) {
	p.T.Helper()
	if err := p.eval(expr, v); err != nil {
		p.Look("failed")
		p.T.Fatalf("%s: %v", shorten(expr, 200), err)
	}
}

func (p *Page) eval(expr string, v any) error {
	ctx, cancel := context.WithTimeout(p.Ctx, time.Minute)
	defer cancel()
	got, err := chromedp.Run(ctx, chromedp.Evaluate[string](`(async () => { `+find+`; return JSON.stringify((`+expr+`) ?? null) })()`, chromedp.EvalAwaitPromise))
	if err == nil && v != nil {
		err = json.Unmarshal([]byte(got), v)
	}
	return err
}

// find finds what can be pressed, is called so, and shows.
const find = `const find = (name) => [...document.querySelectorAll('button, a, summary, [role=button], [role=tab], label')].find((e) => e.offsetParent && !e.disabled && ((e.innerText ?? '').trim().split('\n')[0].trim() === name || e.getAttribute('aria-label') === name))`

// patience is how long Until waits: long, since a machine may have other things
// to do, and no test passes for waiting less.
const patience = 4 * time.Minute

// Until waits until an expression is true. A page that is just being left, or is
// not there yet, has no answer, and is asked again.
func (p *Page) Until(what, expr string) {
	p.T.Helper()
	end := time.Now().Add(patience)
	for {
		ok := false
		err := p.eval("Boolean("+expr+")", &ok)
		if err == nil && ok {
			return
		}
		if time.Now().After(end) {
			p.Look("waited")
			var text string
			p.JS("document.body.innerText", &text)
			p.T.Fatalf("waited in vain until %s (%v); the page says:\n%s", what, err, shorten(text, 1500))
		}
		time.Sleep(50 * time.Millisecond)
	}
}

// Keys presses keys, one after the other: single characters, or names such as
// "Enter" and "ArrowRight".
func (p *Page) Keys(names ...string) {
	p.T.Helper()
	named := map[string]string{"Enter": kb.Enter, "Escape": kb.Escape, "Tab": kb.Tab, "ArrowRight": kb.ArrowRight, "ArrowLeft": kb.ArrowLeft,
		"ArrowUp": kb.ArrowUp, "ArrowDown": kb.ArrowDown, "Home": kb.Home, "End": kb.End, "PageUp": kb.PageUp, "PageDown": kb.PageDown, "Space": " "}
	for _, name := range names {
		key, ok := named[name]
		if !ok {
			key = name
		}
		p.Do("press "+name, chromedp.KeyEvent(key))
	}
}

// Press clicks the button, link or tab that is called so.
func (p *Page) Press(name string) {
	p.T.Helper()
	quoted, _ := json.Marshal(name)
	p.Until("there is something called "+name, `find(`+string(quoted)+`)`)
	p.JS(`find(`+string(quoted)+`).click()`, nil)
}
