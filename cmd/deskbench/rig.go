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

	_ "embed"

	"github.com/chromedp/cdproto/cdp"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/profiler"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"earshot/internal/web/webtest"
)

//go:embed page.js
var script string

// A rig is what a measurement stands on: the program and a browser. It is what
// webtest asks of a test; whatever fails there ends the command.
type rig struct {
	dir     string
	earshot string
	ends    []func()
}

// Helper does nothing.
func (r *rig) Helper() {}

// Name is the command's.
func (r *rig) Name() string { return "deskbench" }

// Errorf prints what is wrong.
func (r *rig) Errorf(format string, args ...any) { fmt.Fprintf(os.Stderr, format+"\n", args...) }

// Fatalf ends the command.
func (r *rig) Fatalf(format string, args ...any) {
	r.Errorf(format, args...)
	r.end()
	os.Exit(1)
}

// Skipf ends the command: without a browser there is nothing to measure.
func (r *rig) Skipf(format string, args ...any) { r.Fatalf(format, args...) }

// Cleanup runs fn at the end.
func (r *rig) Cleanup(fn func()) { r.ends = append(r.ends, fn) }

// TempDir is a folder that goes at the end.
func (r *rig) TempDir() string {
	dir, err := os.MkdirTemp("", "deskbench-")
	if err != nil {
		r.Fatalf("%v", err)
	}
	r.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

func (r *rig) end() {
	for len(r.ends) > 0 {
		last := r.ends[len(r.ends)-1]
		r.ends = r.ends[:len(r.ends)-1]
		last()
	}
}

var address = regexp.MustCompile(`http://127\.0\.0\.1:\d+/enter\?t=\S+`)

// desk starts the program on a folder of recordings. What it measured once is
// kept for the next run.
func (r *rig) desk(ctx context.Context, name, recordings string) (url string, pid int) {
	shoot := filepath.Join(r.dir, "shoot-"+name)
	if err := os.MkdirAll(shoot, 0o777); err != nil {
		r.Fatalf("%v", err)
	}
	cmd := exec.CommandContext(ctx, r.earshot, "desk", "--no-open", "--engine", "native", "--shoot", shoot, "--cache", filepath.Join(r.dir, "cache"), recordings)
	cmd.Env = append(os.Environ(), "NO_COLOR=1")
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		r.Fatalf("start the program: %v", err)
	}
	r.Cleanup(func() {
		cmd.Process.Signal(os.Interrupt)
		cmd.Wait()
	})
	lines := bufio.NewScanner(out)
	for url == "" && lines.Scan() {
		url = address.FindString(lines.Text())
	}
	if url == "" {
		r.Fatalf("the program said no address: %v", lines.Err())
	}
	go func() {
		for lines.Scan() { // what it says later is nobody's
		}
	}()
	return url, cmd.Process.Pid
}

// open opens a tab in which the measuring script runs from the beginning.
func (r *rig) open(browser webtest.Chromium, url string) *webtest.Page {
	p := webtest.Open(r, browser, 1440, 900, url)
	p.Do("put the script in", chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, cdppage.AddScriptToEvaluateOnNewDocument, cdppage.AddScriptToEvaluateOnNewDocumentParams{Source: script})
		return err
	}))
	return p
}

// ask evaluates an expression in the page, however long it takes.
func ask[T any](r *rig, p *webtest.Page, expr string) (v T) {
	got, err := chromedp.Run(p.Ctx, chromedp.Evaluate[string](`(async () => JSON.stringify((`+expr+`) ?? null))()`, chromedp.EvalAwaitPromise))
	if err == nil {
		err = json.Unmarshal([]byte(got), &v)
	}
	if err != nil {
		r.Fatalf("%s: %v", expr, err)
	}
	return v
}

// memory is what a page holds, in MB: of the script's heap with what hangs on
// it, and of its process, shared parts in part (PSS; Linux only, else 0).
func (r *rig) memory(p *webtest.Page, pid int) (heap, process float64) {
	use, err := chromedp.Call(p.Ctx, runtime.GetHeapUsage, cdp.Empty{})
	if err != nil {
		r.Fatalf("ask for the heap: %v", err)
	}
	return (use.UsedSize + use.EmbedderHeapUsedSize + use.BackingStorageSize) / 1e6, pss(pid)
}

func pss(pid int) float64 {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/smaps_rollup", pid))
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(b)) {
		var kb float64
		if n, _ := fmt.Sscanf(line, "Pss: %f kB", &kb); n == 1 {
			return kb * 1024 / 1e6
		}
	}
	return 0
}

// cpu is what a process and those it waited for used, in seconds (Linux only,
// else 0).
func cpu(pid int) float64 {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(b), ") ")
	fields, sum := strings.Fields(rest), 0.0
	for _, i := range []int{11, 12, 13, 14} { // utime, stime, and of children; proc(5)
		var ticks float64
		if i < len(fields) {
			fmt.Sscan(fields[i], &ticks)
		}
		sum += ticks / 100
	}
	return sum
}

// profiled runs fn while the browser notes which of the page's functions run,
// and writes that to a file that a browser's tools open, where one is asked for.
func (b *bench) profiled(p *webtest.Page, fn func()) error {
	if b.profile == "" {
		fn()
		return nil
	}
	_, err := chromedp.Call(p.Ctx, profiler.Enable, cdp.Empty{})
	if err == nil {
		_, err = chromedp.Call(p.Ctx, profiler.Start, cdp.Empty{})
	}
	if err != nil {
		return err
	}
	fn()
	got, err := chromedp.Call(p.Ctx, profiler.Stop, cdp.Empty{})
	if err != nil {
		return err
	}
	text, err := json.Marshal(got.Profile)
	if err != nil {
		return err
	}
	return os.WriteFile(b.profile, text, 0o666)
}
