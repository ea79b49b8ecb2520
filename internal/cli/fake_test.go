package cli

import (
	"bytes"
	"context"
	"math"
	"strings"
	"testing"

	"earshot/internal/app"
	"earshot/internal/fault"
	"earshot/internal/shoot"
)

// A fake answers every use case with what it was given.
type fake struct {
	pair   *app.PairResult
	marry  *app.MarryResult
	proof  *app.Proof
	demo   *app.DemoResult
	health *app.Health
	err    error

	openErr error
	opened  int
	closed  int
	set     Settings
	married app.MarryOptions
	report  func(func(app.Progress))
	desks   []DeskAsk
	said    app.SayOptions
}

const deskURL = "http://127.0.0.1:1/enter?t=x"

func (f *fake) Pair(ctx context.Context, o app.PairOptions) (*app.PairResult, error) {
	if f.report != nil {
		f.report(o.Progress)
	}
	return f.pair, f.err
}

func (f *fake) Marry(_ context.Context, o app.MarryOptions) (*app.MarryResult, error) {
	f.married = o
	return f.marry, f.err
}

func (f *fake) Prove(context.Context, app.ProveOptions) (*app.Proof, error) { return f.proof, f.err }
func (f *fake) Demo(context.Context, app.DemoOptions) (*app.DemoResult, error) {
	return f.demo, f.err
}
func (f *fake) Say(_ context.Context, o app.SayOptions) ([]string, error) {
	f.said = o
	return nil, nil
}
func (f *fake) Doctor(context.Context) (*app.Health, error) { return f.health, f.err }

// run calls the program with f behind it.
func run(ctx context.Context, f *fake, args ...string) (status int, stdout, stderr string) {
	var out, errs bytes.Buffer
	status = Run(ctx, args, Env{
		Stdout: &out, Stderr: &errs, Version: "v0",
		Getenv: func(string) string { return "" },
		Desk: func(_ context.Context, ask DeskAsk) error {
			f.desks = append(f.desks, ask)
			ask.Ready(OnDesk{URL: deskURL, Folder: "x"})
			return f.err
		},
		Open: func(_ context.Context, s Settings) (UseCases, func() error, error) {
			f.opened++
			f.set = s
			if f.openErr != nil {
				return nil, nil, f.openErr
			}
			return f, func() error { f.closed++; return nil }, nil
		},
	})
	return status, out.String(), errs.String()
}

// nasty are names a folder may well hold.
func nasty() []string {
	return []string{
		"plain.mov",
		"two\nlines.mov",
		"red\x1b[31m.wav",
		"\u202egnp.mov",
		"日本語のとても長いクリップの名前がここにあります.mov",
		"👩‍🎤🎙️ take 👍🏽.wav",
		"e\u0301te\u0301.wav",
		"not\xffutf8.wav",
		strings.Repeat("very long name ", 12) + "0001.mov",
		"-dash.mov",
	}
}

// day is a shoot with every kind of outcome; names are cycled through.
func day(names []string) shoot.Document {
	n := func(i int) string { return names[i%len(names)] }
	return shoot.Document{Version: 1,
		Takes: []shoot.Take{
			{Clip: n(0), Sound: n(1), Offset: 12.34568, Drift: 41.2, DriftFrom: shoot.FromTake, Verdict: shoot.Sure, Chance: 2e-5,
				Why: []string{"heard in 38 of 40 places", "leftover 0.3 ms"}, Spans: []shoot.Span{{Clip: [2]float64{0, 60}, Offset: 12.34568, Drift: 41.2}}},
			{Clip: n(2), Sound: n(3), Offset: -3723.00004, Drift: -0.01, DriftFrom: shoot.FromNone, Verdict: shoot.Unsure,
				Chance: 0.3, Candidates: []shoot.Candidate{{Clip: n(2), Sound: n(1), Offset: 8, Strength: 13, For: []string{"its match stands 13 times above the noise"},
					Against: []string{"its place in the order is another"}}},
				Why:   []string{"another place fits nearly as well"},
				Spans: []shoot.Span{{Clip: [2]float64{0, 60}}, {Clip: [2]float64{90, 4000}}}},
			{Clip: n(4), Sound: n(5), Offset: 0, Drift: -241.26, DriftFrom: shoot.FromShoot, Verdict: shoot.Sure, Why: nil},
		},
		Alone:  []shoot.Alone{{Path: n(6), Kind: "sound", Why: []string{"no clip heard it"}}},
		Failed: []shoot.Failed{{Path: n(7), Error: "read sound: no\naudio stream"}},
	}
}

func sureDay() shoot.Document {
	d := day([]string{"a.mov", "a.wav", "b.mov", "b.wav", "c.mov", "c.wav", "d.wav", "e.wav"})
	d.Takes = d.Takes[:1]
	d.Failed = nil
	return d
}

// goodProof is a proof of a file in sync.
func goodProof() *app.Proof {
	p := &app.Proof{File: "married/a.mov", Scratch: "track 2", State: app.InSync, Late: 0.41, LateSigma: 0.06, Drift: 0.3, DriftSigma: 0.2,
		Seam: app.ProofSeam{Median: 0.2, P95: 0.6, Max: 0.9, Heard: 9, Of: 10},
		Limits: []app.LimitCheck{
			{Name: "ITU-R BT.1359-1, detectability", Early: 45, LateMs: 125, Pass: true},
			{Name: "EBU R37, each production stage", Early: 5, LateMs: 15, Pass: false},
		},
		Why: []string{"heard in 9 of 10 places"}}
	for i := range 9 {
		p.Windows = append(p.Windows, app.SeamPoint{At: float64(60 * i), Late: 0.9 * math.Sin(float64(i))})
	}
	return p
}

func marryResult() *app.MarryResult {
	d := day([]string{"a.mov", "a.wav", "b.mov", "b.wav", "c.mov", "c.wav", "d.wav", "e.wav"})
	return &app.MarryResult{
		Pair:   app.PairResult{Document: d, Notes: []string{"cover.jpg was passed over: no sound and no moving picture"}},
		Report: "married/report.json",
		Clips: []app.Married{
			{Clip: "a.mov", Sound: "a.wav", Out: "married/a_married.mov", State: "written", Take: d.Takes[0], Proof: goodProof(),
				Laid: "on what the camera heard", Fills: []app.Fill{{From: 50, To: 61.2, With: "scratch"}}},
			{Clip: "b.mov", Sound: "b.wav", State: "passed", Take: d.Takes[1], Why: []string{"unsure: another place fits nearly as well"}},
			{Clip: "c.mov", Sound: "c.wav", State: "failed", Take: d.Takes[2], Error: `write clip "married/c_married.mov": no space left on device`},
			{Clip: "d.mov", Sound: "d.wav", Out: "married/d_married.mov", State: "passed", Take: d.Takes[2],
				Why: []string{"the clip there was married otherwise; --again replaces it"}, Laid: "11 ms earlier"},
		},
	}
}

func gaveUp(kind fault.Kind) error {
	return &fault.Error{Kind: kind, Op: "read sound", Subject: "mic\n2.m4a", Err: context.DeadlineExceeded, Hint: "try again"}
}

func mustStatus(t *testing.T, got, want int, stderr string) {
	t.Helper()
	if got != want {
		t.Fatalf("exit status %d, want %d; standard error:\n%s", got, want, stderr)
	}
}
