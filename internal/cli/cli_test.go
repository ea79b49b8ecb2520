package cli

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"earshot/internal/app"
	"earshot/internal/fault"
	"earshot/internal/media"
	"earshot/internal/shoot"
)

// here is a path that is there.
func here(t *testing.T) string {
	path := filepath.Join(t.TempDir(), "clip.mov")
	if err := os.WriteFile(path, []byte("x"), 0o666); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestStatus(t *testing.T) {
	path := here(t)
	lone := sureDay()
	lone.Takes = nil
	unsure := sureDay()
	unsure.Takes = day(nasty()).Takes
	both := day(nasty())
	out, unclear := goodProof(), goodProof()
	out.State, unclear.State = app.OutOfSync, app.NoTelling
	fine := marryResult()
	fine.Pair.Document = sureDay()
	fine.Clips = fine.Clips[:1]
	stuck := marryResult()
	stuck.Pair.Document = sureDay()
	stuck.Clips = stuck.Clips[3:]
	failed := marryResult()
	failed.Pair.Document = sureDay()
	for _, tt := range []struct {
		name string
		fake fake
		args []string
		want int
	}{
		{"all sure", fake{pair: &app.PairResult{Document: sureDay()}}, []string{"pair", path}, 0},
		{"nothing but alone", fake{pair: &app.PairResult{Document: lone}}, []string{"pair", path}, 0},
		{"one unsure", fake{pair: &app.PairResult{Document: unsure}}, []string{"pair", path}, 3},
		{"unsure and unreadable", fake{pair: &app.PairResult{Document: both}}, []string{"pair", path}, 1},
		{"unreadable", fake{err: gaveUp(fault.Unreadable)}, []string{"pair", path}, 1},
		{"full disk", fake{err: gaveUp(fault.Unwritable)}, []string{"marry", path}, 1},
		{"no sense", fake{err: gaveUp(fault.Usage)}, []string{"marry", path}, 2},
		{"no engine", fake{openErr: gaveUp(fault.Engine)}, []string{"pair", path}, 1},
		{"no engine, examined", fake{openErr: gaveUp(fault.Engine)}, []string{"doctor"}, 1},
		{"married", fake{marry: fine}, []string{"marry", path}, 0},
		{"one clip failed", fake{marry: failed}, []string{"marry", path}, 1},
		{"another clip stands there", fake{marry: stuck}, []string{"marry", path}, 1},
		{"in sync", fake{proof: goodProof()}, []string{"prove", path}, 0},
		{"out of sync", fake{proof: out}, []string{"prove", path}, 3},
		{"could not tell", fake{proof: unclear}, []string{"prove", path}, 1},
		{"demo right", fake{demo: &app.DemoResult{Right: true}}, []string{"demo"}, 0},
		{"demo wrong", fake{demo: &app.DemoResult{}}, []string{"demo"}, 1},
		{"healthy", fake{health: &app.Health{Checks: []app.HealthCheck{{Name: "engine", OK: true}}}}, []string{"doctor"}, 0},
		{"amiss", fake{health: &app.Health{Checks: []app.HealthCheck{{Name: "engine"}}}}, []string{"doctor"}, 1},
		{"stopped", fake{err: context.Canceled}, []string{"pair", path}, 130},
		{"stopped, wrapped", fake{err: &fault.Error{Kind: fault.Cancelled, Op: "pair", Err: errors.New("stop")}}, []string{"pair", path}, 130},
	} {
		t.Run(tt.name, func(t *testing.T) {
			status, _, stderr := run(context.Background(), &tt.fake, tt.args...)
			mustStatus(t, status, tt.want, stderr)
			if tt.fake.openErr == nil && tt.fake.closed != tt.fake.opened {
				t.Errorf("opened %d times, closed %d times", tt.fake.opened, tt.fake.closed)
			}
		})
	}
}

func TestBadUsage(t *testing.T) {
	path := here(t)
	for _, tt := range []struct {
		args []string
		says string // on standard error
	}{
		{[]string{"mary"}, `did you mean: earshot marry`},
		{[]string{path}, "earshot marry"},
		{[]string{"no\nsuch"}, `"no\nsuch"`},
		{[]string{"--nonsense"}, "earshot --help"},
		{[]string{"pair"}, "earshot pair --help"},
		{[]string{"pair", "--nonsense", path}, "unknown flag"},
		{[]string{"marry"}, "earshot marry --help"},
		{[]string{"marry", "--sound", "mp3", path}, "pcm, aac"},
		{[]string{"marry", "--gaps", "", path}, "scratch, silence"},
		{[]string{"marry", "--also", "all", path}, "unsure"},
		{[]string{"marry", "--distance", "NaN", path}, "0 to 1000"},
		{[]string{"marry", "--distance=-1", path}, "0 to 1000"},
		{[]string{"marry", "--celsius", "Inf", path}, "-90 to 60"},
		{[]string{"pair", "--engine", "other", path}, "auto, embedded, native"},
		{[]string{"prove"}, "earshot prove --help"},
		{[]string{"prove", path, path}, "one finished file"},
		{[]string{"demo", "x"}, "--to DIR"},
		{[]string{"doctor", "x"}, "earshot prove"},
		{[]string{"completion", "tcsh"}, "bash, zsh, fish, powershell"},
		{[]string{"help", "nothing"}, "no such command"},
		{[]string{"offload"}, "no such command"},
		{[]string{"pair", "--lay", "C1.MP4", path}, "CLIP="},
		{[]string{"pair", "--lay", "C1.MP4=soon", path}, "offset in seconds"},
		{[]string{"pair", "--undo", "-1", path}, "0 or more"},
	} {
		f := &fake{}
		status, stdout, stderr := run(context.Background(), f, tt.args...)
		if status != 2 || stdout != "" || f.opened != 0 {
			t.Errorf("%q: status %d, stdout %q, opened %d times; want 2, nothing, not at all", tt.args, status, stdout, f.opened)
		}
		if !strings.HasPrefix(stderr, "earshot: ") || !strings.Contains(stderr, tt.says) || strings.Count(stderr, "\n") != 2 {
			t.Errorf("%q says\n%swant one line and one hint holding %q", tt.args, stderr, tt.says)
		}
	}
}

func TestMissingPathIsAnsweredBeforeTheEngineOpens(t *testing.T) {
	for _, cmd := range []string{"pair", "marry", "prove"} {
		f := &fake{}
		status, stdout, stderr := run(context.Background(), f, cmd, filepath.Join(t.TempDir(), "gone\n.wav"))
		if status != 1 || stdout != "" || f.opened != 0 {
			t.Errorf("%s: status %d, stdout %q, opened %d", cmd, status, stdout, f.opened)
		}
		if !strings.Contains(stderr, `gone\n.wav": there is no such file or folder`) {
			t.Errorf("%s says %s", cmd, stderr)
		}
	}
}

func TestErrorHasItsHintOnALineOfItsOwn(t *testing.T) {
	_, _, stderr := run(context.Background(), &fake{err: gaveUp(fault.Unreadable)}, "pair", here(t))
	want := "earshot: read sound \"mic\\n2.m4a\": context deadline exceeded\n  try again\n"
	if stderr != want {
		t.Errorf("says\n%swant\n%s", stderr, want)
	}
}

func TestPanicEndsInOneLine(t *testing.T) {
	f := &fake{report: func(func(app.Progress)) { panic("broken\nthing") }}
	status, stdout, stderr := run(context.Background(), f, "pair", here(t))
	if status != 1 || stdout != "" || !strings.Contains(stderr, "earshot: go on: broken thing\n") {
		t.Errorf("status %d, stdout %q, stderr %q", status, stdout, stderr)
	}
}

// Standard output holds one JSON document and nothing else, whatever the
// outcome, and progress and notes stay on standard error.
func TestJSONIsAlone(t *testing.T) {
	path := here(t)
	f := &fake{
		pair:   &app.PairResult{Document: day(nasty()), Notes: []string{"a note"}},
		marry:  marryResult(),
		proof:  goodProof(),
		demo:   &app.DemoResult{Result: marryResult()},
		health: &app.Health{Engine: media.About{Name: "embedded"}},
		report: func(p func(app.Progress)) { p(app.Progress{Step: "pairing", Done: 1, Total: 2}) },
	}
	for _, args := range [][]string{{"pair", path}, {"marry", path}, {"prove", path}, {"demo"}, {"doctor"}} {
		_, stdout, _ := run(context.Background(), f, append(args, "--json")...)
		dec := json.NewDecoder(strings.NewReader(stdout))
		var v map[string]any
		if err := dec.Decode(&v); err != nil {
			t.Errorf("%s --json: %v", args[0], err)
		}
		if err := dec.Decode(&v); err != io.EOF {
			t.Errorf("%s --json: something stands after the document (%v)", args[0], err)
		}
		if strings.Contains(stdout, ": null") {
			t.Errorf("%s --json: a list or object is null:\n%s", args[0], stdout)
		}
	}
	status, stdout, _ := run(context.Background(), &fake{err: gaveUp(fault.Unreadable)}, "pair", "--json", path)
	if status != 1 || stdout != "" {
		t.Errorf("pair --json that failed: status %d, stdout %q; want 1 and nothing", status, stdout)
	}
}

func TestMarryOptions(t *testing.T) {
	path := here(t)
	f := &fake{marry: marryResult()}
	run(context.Background(), f, "marry", path)
	o := f.married
	if o.To != "married" || o.Sound != "pcm" || o.Scratch != "keep" || o.Gaps != "scratch" || o.Distance != nil || o.Unsure || o.Celsius != nil || o.Version != "v0" {
		t.Errorf("without flags the options are %+v", o)
	}
	run(context.Background(), f, "marry", "--to", "out", "--sound", "aac", "--scratch", "drop", "--gaps", "silence",
		"--distance", "4.5", "--celsius", "0", "--name", "{clip}-x", "--again", "--also", "unsure", "--digest", "--fresh",
		"--engine", "native", "--cache", "kept", "--", path, "-dash")
	o = f.married
	if o.To != "out" || o.Sound != "aac" || o.Scratch != "drop" || o.Gaps != "silence" || *o.Distance != 4.5 ||
		*o.Celsius != 0 || o.Name != "{clip}-x" || !o.Again || !o.Unsure || !o.Digest || !o.Fresh || o.Paths[1] != "-dash" {
		t.Errorf("with flags the options are %+v", o)
	}
	if f.set.Engine != "native" || f.set.Cache != "kept" {
		t.Errorf("settings are %+v", f.set)
	}
}

func TestHelp(t *testing.T) {
	for _, cmd := range []string{"demo", "marry", "pair", "prove", "doctor"} {
		f := &fake{}
		status, stdout, stderr := run(context.Background(), f, cmd, "--help")
		mustStatus(t, status, 0, stderr)
		for _, want := range []string{"usage\n  earshot " + cmd, "--json", "examples\n  earshot " + cmd, "exit status\n  0 ", "130  stopped"} {
			if !strings.Contains(stdout, want) {
				t.Errorf("%s --help lacks %q:\n%s", cmd, want, stdout)
			}
		}
		_, again, _ := run(context.Background(), f, "help", cmd)
		if again != stdout || f.opened != 0 {
			t.Errorf("help %s and %s --help differ, or help opened the engine", cmd, cmd)
		}
		for _, line := range strings.Split(stdout, "\n") {
			if cells(line) > plainWidth {
				t.Errorf("%s --help: line of %d cells: %s", cmd, cells(line), line)
			}
		}
	}
}

// Only what exists is offered.
func TestRootHelpListsWhatThereIs(t *testing.T) {
	_, stdout, _ := run(context.Background(), &fake{}, "--help")
	var got []string
	part := stdout[strings.Index(stdout, "commands\n"):strings.Index(stdout, "flags\n")]
	for _, m := range regexp.MustCompile(`(?m)^  ([a-z]+) `).FindAllStringSubmatch(part, -1) {
		got = append(got, m[1])
	}
	if want := "demo desk marry pair prove doctor completion"; strings.Join(got, " ") != want {
		t.Errorf("commands are %q, want %q", strings.Join(got, " "), want)
	}
}

func TestWelcome(t *testing.T) {
	f := &fake{}
	status, stdout, stderr := run(context.Background(), f)
	mustStatus(t, status, 0, stderr)
	if len(f.desks) != 1 || !f.desks[0].Open || len(f.desks[0].Add) > 0 {
		t.Errorf("plain earshot asked for the desks %+v, want one, empty, in a browser", f.desks)
	}
	if !strings.Contains(stdout, "earshot --help") || !strings.Contains(stdout, deskURL) {
		t.Errorf("the welcome does not say where the desk is and what else there is:\n%s", stdout)
	}
}

func TestCompletionKnowsTheWords(t *testing.T) {
	_, stdout, _ := run(context.Background(), &fake{}, "__complete", "marry", "--sound", "")
	if !strings.Contains(stdout, "pcm\n") || !strings.Contains(stdout, "aac\n") {
		t.Errorf("completion of --sound offers %q", stdout)
	}
	for _, shell := range []string{"bash", "zsh", "fish", "powershell"} {
		status, stdout, stderr := run(context.Background(), &fake{}, "completion", shell)
		mustStatus(t, status, 0, stderr)
		if !strings.Contains(stdout, "earshot") {
			t.Errorf("completion %s printed %q", shell, stdout)
		}
	}
}

func TestManPages(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "man")
	status, _, stderr := run(context.Background(), &fake{}, "man", dir)
	mustStatus(t, status, 0, stderr)
	for _, name := range []string{"earshot", "earshot-marry", "earshot-pair", "earshot-prove", "earshot-demo", "earshot-desk", "earshot-doctor"} {
		page, err := os.ReadFile(filepath.Join(dir, name+".1"))
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{".TH ", ".SH NAME", ".SH SYNOPSIS", ".SH OPTIONS"} {
			if !strings.Contains(string(page), want) {
				t.Errorf("%s.1 lacks %s", name, want)
			}
		}
		if strings.Contains(string(page), `\-\-page`) {
			t.Errorf("%s.1 tells of a flag for developers", name)
		}
	}
}

// full is an output with no room.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no space left on device") }

func TestFullOutputIsNoSuccess(t *testing.T) {
	f := &fake{pair: &app.PairResult{Document: sureDay()}}
	var errs strings.Builder
	status := Run(context.Background(), []string{"pair", here(t)}, Env{Stdout: full{}, Stderr: &errs, Getenv: os.Getenv,
		Open: func(context.Context, Settings) (UseCases, func() error, error) { return f, nil, nil }})
	if status != 1 || !strings.Contains(errs.String(), "write standard output: no space left on device") {
		t.Errorf("status %d, stderr %q", status, errs.String())
	}
}

func TestDeskTakesPathsAndFlags(t *testing.T) {
	dir := t.TempDir()
	f := &fake{}
	status, stdout, stderr := run(context.Background(), f, "desk", dir, "--no-open", "--shoot", "x", "--engine", "embedded", "--port", "8123")
	mustStatus(t, status, 0, stderr)
	want := DeskAsk{Shoot: "x", Add: []string{dir}, Port: 8123}
	got := f.desks[0]
	if got.Shoot != want.Shoot || !slices.Equal(got.Add, want.Add) || got.Open || got.Port != want.Port || got.Settings.Engine != "embedded" {
		t.Errorf("asked for %+v, want %+v", got, want)
	}
	if !strings.Contains(stdout, deskURL) {
		t.Errorf("no address in %q", stdout)
	}
	if status, _, stderr := run(context.Background(), f, "desk", filepath.Join(dir, "gone")); status != exitFailed || !strings.Contains(stderr, "gone") {
		t.Errorf("a folder that is not there gives %d, %q", status, stderr)
	}
}

// What is said with flags is what is said on the desk.
func TestPairTakesWords(t *testing.T) {
	path := here(t)
	f := &fake{pair: &app.PairResult{}}
	status, _, stderr := run(context.Background(), f, "pair", path, "--shoot", "s", "--lay", "C1.MP4=1.5,-20", "--lay", "C2.MP4=measured",
		"--refuse", "C3.MP4=rec.m4a", "--with", "C4.MP4=rec.m4a", "--call", "C1.MP4=first = best", "--approve", "C1.MP4", "--undo", "2")
	mustStatus(t, status, 0, stderr)
	got := f.said
	if got.Shoot != "s" || got.Undo != 2 || len(got.Say) != 6 || !slices.Equal(got.Paths, []string{path}) {
		t.Fatalf("asked for %+v", got)
	}
	was := shoot.Word{Line: &shoot.Line{Offset: 9}}
	for i, want := range []shoot.Word{
		{Line: was.Line, Sound: "rec.m4a"}, {Line: &shoot.Line{Offset: 1.5, Drift: -20}}, {}, {Line: was.Line, Refused: []string{"rec.m4a"}},
		{Line: was.Line, Name: "first = best"}, {Line: was.Line, Approved: true},
	} {
		if is := got.Say[i].Change.Over(was); !reflect.DeepEqual(is, want) {
			t.Errorf("saying %d makes %+v, want %+v", i, is, want)
		}
	}
}
