package cli

import (
	"fmt"
	"math"
	"path/filepath"

	"github.com/spf13/cobra"

	"earshot/internal/app"
	"earshot/internal/fault"
)

// prove is `earshot prove`: how well a finished file's sound lies.
func (f *face) prove() *cobra.Command {
	var opt app.ProveOptions
	c := &cobra.Command{
		Use:   "prove FILE",
		Short: "measure how well a finished file's sound lies on its picture",
		Long: `Measure how well the sound of a finished file lies, whoever made it. The file's
first sound track is held against the camera's own sound: its second track, or
the sound of the clip named with --scratch.

Late means heard after the camera heard it, early before. Nothing is written.`,
		Example: `earshot prove married/A001_married.mov
earshot prove edit.mp4 --scratch card1/A001.mov`,
		Annotations: map[string]string{exitKey: `0    in sync
1    could not tell, or the file could not be read
2    the command was not understood
3    out of sync
130  stopped with Ctrl-C`},
		Args: func(c *cobra.Command, args []string) error {
			if len(args) != 1 {
				return badUsage(c, "name one finished file")
			}
			return takesPaths(c, args)
		},
		RunE: func(c *cobra.Command, args []string) error {
			if opt.Scratch != "" {
				if err := takesPaths(c, []string{opt.Scratch}); err != nil {
					return err
				}
			}
			cases, err := f.open(c.Context())
			if err != nil {
				return err
			}
			opt.File, opt.Progress = args[0], f.term.progress
			proof, err := cases.Prove(c.Context(), opt)
			if err != nil {
				return err
			}
			f.status = proofStatus(proof)
			if f.json {
				return f.term.document(proofJSON(proof))
			}
			f.term.print(proofText(f.term.out, proof)...)
			return nil
		},
	}
	c.Flags().StringVar(&opt.Scratch, "scratch", "", "the camera's `clip`, when the finished file has no second sound track")
	f.jsonFlag(c)
	return c
}

func proofStatus(p *app.Proof) int {
	switch p.State {
	case app.InSync:
		return exitOK
	case app.OutOfSync:
		return exitUnsure
	}
	return exitFailed
}

func proofJSON(p *app.Proof) app.Proof {
	d := *p
	d.Windows, d.Limits, d.Why = filled(d.Windows), filled(d.Limits), filled(d.Why)
	return d
}

// proofText lays a proof out: the answer, the figures, the picture of the
// seam, the published limits.
func proofText(s sink, p *app.Proof) []string {
	mark := bad
	switch p.State {
	case app.InSync:
		mark = good
	case app.NoTelling:
		mark = doubt
	}
	file := fault.Escape(filepath.Base(p.File))
	lines := []string{s.paint(mark, p.State) + "  " + cut(file, s.width-20)}
	for _, line := range wrap(because(p.Why), s.width-3) {
		lines = append(lines, "  "+s.paint(dim, line))
	}
	if p.State == app.NoTelling && len(p.Windows) == 0 {
		return lines
	}
	lines = append(lines, "",
		"  lies     "+lateness(p.Late)+within(p.LateSigma, "ms")+", in the middle of the take",
		"  drift    "+driftWords(p),
		"  seam     "+seamWords(p.Seam),
		fmt.Sprintf("  heard    in %d of %d places, against %s", p.Seam.Heard, p.Seam.Of, scratchWords(p)))
	if picture := seamPicture(p.Windows, min(s.width-20, 64)); len(picture) > 0 {
		lines = append(lines, "")
		lines = append(lines, picture...)
	}
	if len(p.Limits) > 0 {
		lines = append(lines, "", "  "+s.paint(dim, "published limits, held against the worst place"))
		lines = append(lines, limitLines(s, p.Limits)...)
	}
	return lines
}

// within gives two standard deviations in words, or nothing when none is known.
func within(sigma float64, unit string) string {
	if sigma <= 0 || math.IsNaN(sigma) || math.IsInf(sigma, 0) {
		return ""
	}
	if wide := math.Max(0.001, 2*sigma); wide < 9.5 {
		return fmt.Sprintf(" (give or take %.1g %s)", wide, unit)
	}
	return fmt.Sprintf(" (give or take %.0f %s)", 2*sigma, unit)
}

func seamWords(m app.ProofSeam) string {
	if m.Max < 0.01 {
		return atMost(m.Max) + " everywhere"
	}
	return fmt.Sprintf("%s median, %s in 95 of 100 places, %s", millis(m.Median), millis(m.P95), atMost(m.Max))
}

func scratchWords(p *app.Proof) string {
	if p.Scratch == "" {
		return "the scratch"
	}
	return fault.Escape(filepath.Base(p.Scratch))
}

// driftWords says by how much the good sound runs away from the scratch, and
// what that comes to between the first place heard and the last.
func driftWords(p *app.Proof) string {
	text := ppm(p.Drift) + within(p.DriftSigma, "ppm")
	if len(p.Windows) < 2 {
		return text
	}
	ms := p.Drift * 1e-3 * (p.Windows[len(p.Windows)-1].At - p.Windows[0].At)
	switch {
	case math.Abs(ms) < 0.05:
		return text + ", under " + millis(0.05) + " from end to end"
	case ms > 0:
		return text + ", " + millis(ms) + " later from end to end"
	}
	return text + ", " + millis(-ms) + " earlier from end to end"
}

func limitLines(s sink, limits []app.LimitCheck) []string {
	width := 0
	for _, l := range limits {
		width = max(width, cells(l.Name))
	}
	width = min(width, s.width-36)
	lines := make([]string, len(limits))
	for i, l := range limits {
		word, mark := "within", good
		if !l.Pass {
			word, mark = "beyond", bad
		}
		lines[i] = fmt.Sprintf("  %s  %s  %3.0f ms early to %3.0f ms late",
			s.paint(mark, word), pad(cut(oneLine(l.Name), width), width, false), math.Abs(l.Early), math.Abs(l.LateMs))
	}
	return lines
}
