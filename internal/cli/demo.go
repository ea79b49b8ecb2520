package cli

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"earshot/internal/app"
	"earshot/internal/fault"
)

// demo is `earshot demo`: a made-up shoot, married and compared with the
// truth.
func (f *face) demo() *cobra.Command {
	var opt app.DemoOptions
	c := &cobra.Command{
		Use:   "demo [--to DIR]",
		Short: "make a small shoot with known truth, marry it, and compare",
		Long: `Make a small shoot of earshot's own invention, with everything that makes real
ones hard: rooms, noise, clocks that run apart, a forgotten clap, a sound that
stops early, recordings that belong to nothing. Marry it, and compare every
take with the truth. Takes half a minute or so; needs nothing but this program.`,
		Example: `earshot demo
earshot demo --to try`,
		Annotations: map[string]string{exitKey: `0    every take came out right
1    something did not, or could not be written
2    the command was not understood
130  stopped with Ctrl-C`},
		Args: func(c *cobra.Command, args []string) error {
			if len(args) > 0 {
				return badUsage(c, "demo takes no "+fault.Quote(args[0])+"; --to DIR says where to write")
			}
			return nil
		},
		RunE: func(c *cobra.Command, _ []string) error {
			cases, err := f.open(c.Context())
			if err != nil {
				return err
			}
			opt.Version, opt.Progress = f.env.Version, f.term.progress
			result, err := cases.Demo(c.Context(), opt)
			if err != nil {
				return err
			}
			if !result.Right {
				f.status = exitFailed
			}
			if f.json {
				return f.term.document(demoJSON(result))
			}
			f.term.print(demoText(f.term.out, result)...)
			return nil
		},
	}
	c.Flags().StringVar(&opt.To, "to", "earshot-demo", "where to write; the `dir` is made when missing")
	f.jsonFlag(c)
	return c
}

// A demoDocument is what `earshot demo --json` prints.
type demoDocument struct {
	Version int            `json:"version"`
	Dir     string         `json:"dir"`
	Right   bool           `json:"right"`
	Takes   []app.DemoTake `json:"takes"`
	Result  *marryDocument `json:"result"`
}

func demoJSON(r *app.DemoResult) demoDocument {
	d := demoDocument{Version: 1, Dir: r.Dir, Right: r.Right, Takes: filled(r.Takes)}
	if r.Result != nil {
		m := marryJSON(r.Result)
		d.Result = &m
	}
	return d
}

// demoText sets what was found beside the truth.
func demoText(s sink, r *app.DemoResult) []string {
	rows := make([]row, len(r.Takes))
	right := 0
	for i, t := range r.Takes {
		rows[i] = demoRow(t)
		if t.Right {
			right++
		}
	}
	lines := table(s, "outcome", rows)
	lines = append(lines, "")
	if r.Right {
		lines = append(lines, fmt.Sprintf("All %d came out right.", len(r.Takes)))
	} else {
		lines = append(lines, fmt.Sprintf("%d of %d came out right. That is a fault in earshot or in its engine; see earshot doctor.", right, len(r.Takes)))
	}
	dir := fault.Quote(filepath.ToSlash(r.Dir))
	lines = append(lines, "The shoot and the finished clips are in "+dir+".")
	if r.Result != nil {
		for _, m := range r.Result.Clips {
			if m.Out != "" && m.Proof != nil {
				lines = append(lines, "Look at one, and measure it yourself:", "",
					"    "+called(os.Args[0])+" prove "+shellWord(m.Out))
				break
			}
		}
	}
	return lines
}

// called is how the person calls this program again, who called it as self: by
// its name where that is on PATH, as go run where that built it.
func called(self string) string {
	if _, err := exec.LookPath("earshot"); err == nil {
		return "earshot"
	}
	if strings.Contains(filepath.ToSlash(self), "/go-build") {
		return "go run ./cmd/earshot"
	}
	return shellWord(self)
}

func demoRow(t app.DemoTake) row {
	name := names(nil)
	r := row{clip: name(t.Clip), sound: name(t.Sound), word: "right", tone: good, offset: "-", drift: "-"}
	if !t.Right {
		r.word, r.tone = "wrong", bad
	}
	if t.Clip != "" && t.Sound != "" {
		r.offset, r.drift = place(t.FoundOffset), ppm(t.FoundDrift)
		r.below = append(r.below, fmt.Sprintf("%s; truth %s and %s; off by %s at the worst",
			t.Verdict, place(t.TrueOffset), ppm(t.TrueDrift), millis(t.WorstError)))
	}
	if t.Note != "" {
		r.below = append(r.below, oneLine(t.Note))
	}
	return r
}

// shellWord writes a path so that a shell takes it as one word.
func shellWord(path string) string {
	for _, r := range path {
		plain := r == '/' || r == '.' || r == '-' || r == '_' ||
			r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z'
		if !plain {
			return fault.Quote(path)
		}
	}
	return path
}
