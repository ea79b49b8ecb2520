package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"earshot/internal/app"
	"earshot/internal/shoot"
)

// pair is `earshot pair`: which sound belongs to which clip, and where.
func (f *face) pair() *cobra.Command {
	var opt app.PairOptions
	var said says
	c := &cobra.Command{
		Use:   "pair PATH...",
		Short: "find which sound belongs to which clip, and write nothing",
		Long: `Find which sound belongs to which clip, and how the two lie on each other.
PATHs are files and folders holding clips and sounds in any order; folders are
searched to the bottom. Nothing is written, but what you say of takes with the
flags below: that is kept in the shoot's folder (--shoot, or the present one), as
the desk keeps it, and heeded from then on.

A clip's moment t is heard in the sound at offset + (1 + drift) t, both counted
from the beginning of the file. A take is sure when the evidence leaves no
other answer open, and unsure when it does; a recording no other one heard is
alone.`,
		Example: `earshot pair card1 recorder
earshot pair --json shoot > shoot.json
earshot pair shoot --lay C0007.MP4=12.345 --approve C0007.MP4`,
		Annotations: map[string]string{exitKey: exitsOfMany + "\nA recording left alone changes nothing: it may rightly be."},
		Args:        takesPaths,
		RunE: func(c *cobra.Command, args []string) error {
			words, err := said.options(args, f.heeded())
			if err != nil {
				return err
			}
			cases, err := f.open(c.Context())
			if err != nil {
				return err
			}
			if err := f.say(c.Context(), cases, words); err != nil {
				return err
			}
			opt.Paths, opt.Shoot, opt.Progress = args, f.heeded(), f.term.progress
			result, err := cases.Pair(c.Context(), opt)
			if err != nil {
				return err
			}
			f.status = statusOf(result.Document)
			f.notes(result.Notes)
			if f.json {
				return f.term.document(whole(result.Document))
			}
			f.term.print(pairText(f.term.out, result.Document)...)
			return nil
		},
	}
	f.jsonFlag(c)
	freshFlag(c, &opt.Fresh)
	said.flags(c)
	return c
}

func freshFlag(c *cobra.Command, to *bool) {
	c.Flags().BoolVar(to, "fresh", false, "measure everything anew, whatever is remembered from before")
}

// notes passes on remarks about what was passed over or mended.
func (f *face) notes(notes []string) {
	for _, n := range notes {
		f.term.say("note: " + oneLine(n))
	}
}

// statusOf is the exit status for a measured shoot.
func statusOf(d shoot.Document) int {
	if len(d.Failed) > 0 {
		return exitFailed
	}
	for _, t := range d.Takes {
		if t.Verdict != shoot.Sure {
			return exitUnsure
		}
	}
	return exitOK
}

// whole returns d with lists that are empty rather than absent, as
// docs/pair.schema.json has them.
func whole(d shoot.Document) shoot.Document {
	if d.Version == 0 {
		d.Version = 1
	}
	d.Takes = append([]shoot.Take{}, d.Takes...)
	for i := range d.Takes {
		wholeTake(&d.Takes[i])
	}
	d.Alone = append([]shoot.Alone{}, d.Alone...)
	for i := range d.Alone {
		d.Alone[i].Why = filled(d.Alone[i].Why)
	}
	d.Failed = filled(d.Failed)
	return d
}

// wholeTake fills a take's lists.
func wholeTake(t *shoot.Take) {
	t.Spans, t.Claps, t.Why = filled(t.Spans), filled(t.Claps), filled(t.Why)
	t.Candidates = append([]shoot.Candidate{}, t.Candidates...)
	for i := range t.Candidates {
		c := &t.Candidates[i]
		c.For, c.Against = filled(c.For), filled(c.Against)
	}
}

func filled[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// pairText lays a measured shoot out as text.
func pairText(s sink, d shoot.Document) []string {
	name := names(documentPaths(d))
	var lines []string
	if len(d.Takes) > 0 {
		rows := make([]row, len(d.Takes))
		for i, t := range d.Takes {
			rows[i] = takeRow(t, name)
			rows[i].below = append([]string{because(t.Why), covers(t.Spans), errorWords(t)}, candidateWords(t, name)...)
		}
		lines = append(lines, table(s, "verdict", rows)...)
		lines = append(lines, "")
		for _, key := range []string{"offset: where in the sound the clip begins, minutes:seconds",
			"drift: by how much the sound's clock ran faster than the camera's"} {
			for _, line := range wrap(key, s.width-3) {
				lines = append(lines, "  "+s.paint(dim, line))
			}
		}
	}
	lines = append(lines, restText(s, d, name)...)
	if len(lines) > 0 {
		lines = append(lines, "")
	}
	return append(lines, wrap(pairSummary(d), s.width-1)...)
}

// restText lists the recordings that are in no take.
func restText(s sink, d shoot.Document, name func(string) string) []string {
	var lines []string
	section := func(title string, n int) {
		if n > 0 {
			if len(d.Takes) > 0 || len(lines) > 0 {
				lines = append(lines, "")
			}
			lines = append(lines, "  "+s.paint(dim, title))
		}
	}
	section("alone", len(d.Alone))
	for _, a := range d.Alone {
		lines = append(lines, "  "+cut(name(a.Path), s.width-12)+" ("+oneLine(a.Kind)+")")
		lines = append(lines, reasons(s, because(a.Why))...)
	}
	section("could not be read", len(d.Failed))
	for _, x := range d.Failed {
		lines = append(lines, "  "+s.paint(bad, cut(name(x.Path), s.width-4)))
		lines = append(lines, reasons(s, failure(x))...)
	}
	return lines
}

func documentPaths(d shoot.Document) []string {
	var paths []string
	for _, t := range d.Takes {
		paths = append(paths, t.Clip, t.Sound)
	}
	for _, a := range d.Alone {
		paths = append(paths, a.Path)
	}
	for _, x := range d.Failed {
		paths = append(paths, x.Path)
	}
	return paths
}

// pairSummary is the last line.
func pairSummary(d shoot.Document) string {
	sure, unsure := 0, 0
	for _, t := range d.Takes {
		if t.Verdict == shoot.Sure {
			sure++
		} else {
			unsure++
		}
	}
	parts := []string{count(len(d.Takes), "take")}
	if len(d.Takes) > 0 {
		parts[0] += fmt.Sprintf(": %d sure, %d unsure", sure, unsure)
	}
	if n := len(d.Alone); n > 0 {
		parts = append(parts, count(n, "recording")+" alone")
	}
	if n := len(d.Failed); n > 0 {
		parts = append(parts, fmt.Sprintf("%d could not be read", n))
	}
	return strings.Join(parts, "; ") + "."
}
