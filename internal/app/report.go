package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
	"unicode"

	"earshot/internal/fault"
	"earshot/internal/media"
	"earshot/internal/shoot"
	"earshot/internal/store"
)

// A report is report.json: everything that was decided and why, and what went
// in.
type report struct {
	Version  int            `json:"version"`
	Made     time.Time      `json:"made"`
	Program  string         `json:"program"`
	Engine   media.About    `json:"engine"`
	Options  reportOptions  `json:"options"`
	Clips    []Married      `json:"clips"`
	Alone    []shoot.Alone  `json:"alone"`
	Failed   []shoot.Failed `json:"failed"`
	Inputs   []reportInput  `json:"inputs"`
	Notes    []string       `json:"notes"`
	Measured shoot.Document `json:"measured"`
}

type reportOptions struct {
	Sound    string   `json:"sound"`
	Scratch  string   `json:"scratch"`
	Gaps     string   `json:"gaps"`
	Distance *float64 `json:"distance_m,omitempty"`
	Celsius  *float64 `json:"celsius,omitempty"`
	Unsure   bool     `json:"unsure_too"`
}

type reportInput struct {
	Path        string         `json:"path"`
	Kind        string         `json:"kind"` // "clip" or "sound"
	Size        int64          `json:"size"`
	Modified    time.Time      `json:"modified"`
	Fingerprint store.Identity `json:"fingerprint"` // of size, head, middle and tail
	SHA256      string         `json:"sha256,omitempty"`
}

// report writes report.json and report.txt into the target folder.
func (a *App) report(ctx context.Context, opt MarryOptions, d *Day, result *MarryResult) error {
	about, _ := a.Engine.About(ctx)
	doc := &d.result.Document
	rep := report{Version: 1, Made: time.Now().UTC().Truncate(time.Second), Program: strings.TrimSpace("earshot " + opt.Version), Engine: about,
		Options: reportOptions{opt.Sound, opt.Scratch, opt.Gaps, opt.Distance, opt.Celsius, opt.Unsure},
		Clips:   result.Clips, Alone: doc.Alone, Failed: doc.Failed, Inputs: []reportInput{},
		Notes: append([]string{}, d.result.Notes...), Measured: *doc}
	for _, r := range d.clips {
		rep.Inputs = append(rep.Inputs, inputOf(ctx, r, "clip", opt.Digest))
	}
	for _, r := range d.sounds {
		rep.Inputs = append(rep.Inputs, inputOf(ctx, r, "sound", opt.Digest))
	}
	b, err := json.MarshalIndent(rep, "", "  ")
	if err != nil {
		return err
	}
	if err := writeWhole(result.Report, append(b, '\n')); err != nil {
		return err
	}
	return writeWhole(reportText(result.Report), []byte(rep.text()))
}

// reportPath is where report.json goes: a report of an earlier run is
// replaced, what somebody else put there under that name is not.
func reportPath(dir string) string {
	for _, name := range []string{"report", "earshot-report", "earshot-report-2", "earshot-report-3"} {
		path := filepath.Join(dir, name+".json")
		if freeForReport(path) && freeForReport(reportText(path)) {
			return path
		}
	}
	return filepath.Join(dir, fmt.Sprintf("earshot-report-%d.json", time.Now().UnixNano()))
}

func reportText(path string) string { return strings.TrimSuffix(path, ".json") + ".txt" }

// freeForReport tells whether nothing stands at path, or a report of ours: the
// program's name stands near its beginning.
func freeForReport(path string) bool {
	f, err := os.Open(path)
	if err != nil {
		return errors.Is(err, fs.ErrNotExist)
	}
	defer f.Close()
	head := make([]byte, 120)
	n, _ := io.ReadFull(f, head)
	text := string(head[:n])
	return strings.HasPrefix(text, "earshot ") || strings.HasPrefix(text, "earshot, ") || strings.Contains(text, `"program": "earshot`)
}

func inputOf(ctx context.Context, r *recording, kind string, digest bool) reportInput {
	in := reportInput{Path: r.path, Kind: kind}
	if info, err := os.Stat(r.path); err == nil {
		in.Size, in.Modified = info.Size(), info.ModTime().UTC()
	}
	in.Fingerprint, _ = store.Fingerprint(r.path)
	if digest && ctx.Err() == nil {
		in.SHA256, _ = store.Digest(r.path)
	}
	return in
}

// text is the report for reading.
func (rep *report) text() string {
	var b strings.Builder
	line := func(format string, args ...any) {
		b.WriteString(printable(fmt.Sprintf(format, args...)) + "\n")
	}
	line("%s, %s, engine %s %s", rep.Program, rep.Made.Format("2006-01-02 15:04 UTC"), rep.Engine.Name, rep.Engine.Version)
	for i := range rep.Clips {
		line("")
		rep.Clips[i].text(line)
	}
	for _, a := range rep.Alone {
		line("")
		line("%s: a %s, alone", fault.Escape(a.Path), a.Kind)
		for _, w := range a.Why {
			line("  %s", w)
		}
	}
	for _, f := range rep.Failed {
		line("")
		line("%s: failed", fault.Escape(f.Path))
		line("  %s", f.Error)
	}
	if len(rep.Notes) > 0 {
		line("")
		for _, n := range rep.Notes {
			line("%s", n)
		}
	}
	line("")
	line("What went in:")
	for _, in := range rep.Inputs {
		line("  %s  %d bytes  %s  %s", fault.Escape(in.Path), in.Size, in.Fingerprint, in.SHA256)
	}
	return b.String()
}

// printable keeps a line on its line: words that a file says of itself come
// into reports too.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) {
			return ' '
		}
		return r
	}, s)
}

func (m *Married) text(line func(string, ...any)) {
	line("%s: %s, %s", fault.Escape(m.Clip), m.State, m.Take.Verdict)
	if m.Picture != "" {
		line("  picture  %s", m.Picture)
	}
	line("  sound    %s", fault.Escape(m.Sound))
	line("  place    clip time 0 is heard at %.6f s in the sound (± %.3f ms)", m.Take.Offset, m.Take.OffsetSigma*1e3)
	line("  drift    %+.2f ppm (± %.2f), from the %s", m.Take.Drift, m.Take.DriftSigma, m.Take.DriftFrom)
	line("  seam     median %.3f ms, 95 %% within %.3f ms, worst %.3f ms", m.Take.Seam.Median, m.Take.Seam.P95, m.Take.Seam.Max)
	for _, w := range m.Take.Why {
		line("  because  %s", w)
	}
	if m.Laid != "" {
		line("  laid     %s", m.Laid)
	}
	for _, f := range m.Fills {
		line("  filled   from %.3f s to %.3f s with %s (%+.1f dB) %s", f.From, f.To, f.With, f.Gain, f.Code)
	}
	if m.Out != "" {
		line("  clip     %s", fault.Escape(m.Out))
	}
	if p := m.Proof; p != nil {
		line("  proof    %s: %s in the middle, 95 %% within %.3f ms over %d windows", p.State, earlyOrLate(p.Late), p.Seam.P95, len(p.Windows))
	}
	for _, w := range m.Why {
		line("  note     %s", w)
	}
	if m.Error != "" {
		line("  failed   %s", m.Error)
	}
}
