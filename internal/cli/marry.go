package cli

import (
	"errors"
	"fmt"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"earshot/internal/app"
	"earshot/internal/fault"
	"earshot/internal/shoot"
)

// marry is `earshot marry`: finished clips.
func (f *face) marry() *cobra.Command {
	var opt app.MarryOptions
	var also string
	c := &cobra.Command{
		Use:   "marry PATH... --to DIR",
		Short: "write finished clips: the picture with its well recorded sound",
		Long: `Write a finished clip for every take that is sure: the picture copied packet
for packet, the good sound laid on it and kept on it along the whole length,
the camera's own sound ("scratch") kept as a further track. Each written clip
is opened again and measured before it counts as done.

PATHs are files and folders holding clips and sounds in any order. Nothing is
guessed: an unsure take is not married unless --also unsure is given. What is
already there and still right is left as it is; originals are only read.`,
		Example: `earshot marry card1 recorder --to married
earshot marry shoot --to married --sound aac --scratch drop
earshot marry shoot --to married --distance 4.5 --celsius 12`,
		Annotations: map[string]string{exitKey: exitsOfMany},
		Args:        takesPaths,
		RunE: func(c *cobra.Command, args []string) error {
			cases, err := f.open(c.Context())
			if err != nil {
				return err
			}
			opt.Paths, opt.Unsure, opt.Progress = args, also == "unsure", f.term.progress
			opt.Shoot, opt.Version = f.heeded(), f.env.Version
			result, err := cases.Marry(c.Context(), opt)
			if result == nil || c.Context().Err() != nil {
				return err
			}
			// Clips that were written are told of, whatever failed after them.
			f.status = marryStatus(result)
			f.notes(result.Pair.Notes)
			if f.json {
				return errors.Join(f.term.document(marryJSON(result)), err)
			}
			f.term.print(marryText(f.term.out, result, opt.Unsure)...)
			return err
		},
	}
	marryFlags(c, &opt, &also)
	f.jsonFlag(c)
	freshFlag(c, &opt.Fresh)
	return c
}

func marryFlags(c *cobra.Command, opt *app.MarryOptions, also *string) {
	flags := c.Flags()
	words := func(to *string, name, first, usage string, more ...string) {
		*to = first
		list := append([]string{}, more...)
		if first != "" {
			list = append([]string{first}, list...)
		}
		flags.Var(&choice{to, list}, name, usage)
		complete(c, name, list...)
	}
	flags.StringVar(&opt.To, "to", "married", "where to write; the `dir` is made when missing")
	words(&opt.Sound, "sound", "pcm", "how to store the good sound: pcm is exact (in MOV), aac is small (in MP4)", "aac")
	words(&opt.Scratch, "scratch", "keep", "the camera's own sound as a further track", "drop")
	words(&opt.Gaps, "gaps", "scratch", "what to hear where the good sound is missing", "silence")
	flags.Var(&number{to: &opt.Distance, low: 0, high: 1000}, "distance",
		"lay the sound where it was seen, for a talker so many `metres` from the camera; without it, where the camera heard it")
	flags.Var(&number{to: &opt.Celsius, low: -90, high: 60}, "celsius", "air temperature for --distance, in `degrees` (default 20)")
	flags.StringVar(&opt.Name, "name", "{clip}_married", "`pattern` for the new names, where {clip} is the clip's own, without its ending")
	flags.BoolVar(&opt.Again, "again", false, "replace finished clips that stand in the way")
	words(also, "also", "", "marry unsure takes too", "unsure")
	flags.BoolVar(&opt.Digest, "digest", false, "put the SHA-256 of every original into the report")
}

// A number is a flag for a finite number between two bounds. It points to nil
// while it is not given.
type number struct {
	to        **float64
	low, high float64
}

// Set implements pflag.Value.
func (n *number) Set(s string) error {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil || !(v >= n.low && v <= n.high) {
		return fmt.Errorf("give a number from %g to %g", n.low, n.high)
	}
	*n.to = &v
	return nil
}

// String implements pflag.Value.
func (n *number) String() string { return "" }

// Type implements pflag.Value.
func (n *number) Type() string { return "number" }

// marryStatus is the exit status for a run that came to its end.
func marryStatus(r *app.MarryResult) int {
	for _, m := range r.Clips {
		if m.State == app.Broken || blocked(m) {
			return exitFailed
		}
	}
	return statusOf(r.Pair.Document)
}

// blocked tells whether a clip was to be written and something else stands in
// its place.
func blocked(m app.Married) bool { return m.State == app.Passed && m.Out != "" }

// A marryDocument is what `earshot marry --json` prints.
type marryDocument struct {
	Version int            `json:"version"`
	Pair    shoot.Document `json:"pair"`
	Clips   []app.Married  `json:"clips"`
	Report  string         `json:"report"`
	Notes   []string       `json:"notes"`
}

func marryJSON(r *app.MarryResult) marryDocument {
	d := marryDocument{Version: 1, Pair: whole(r.Pair.Document), Clips: append([]app.Married{}, r.Clips...),
		Report: r.Report, Notes: filled(r.Pair.Notes)}
	for i := range d.Clips {
		wholeTake(&d.Clips[i].Take)
	}
	return d
}

// marryText lays out what was written.
func marryText(s sink, r *app.MarryResult, alsoUnsure bool) []string {
	name := names(documentPaths(r.Pair.Document))
	rows := make([]row, len(r.Clips))
	done, fresh, unsure, stuck := 0, 0, 0, 0
	for i, m := range r.Clips {
		rows[i] = marriedRow(m, name)
		switch {
		case m.State == app.Written:
			done, fresh = done+1, fresh+1
		case m.State == app.Kept:
			done++
		case blocked(m):
			stuck++
		case m.State == app.Passed && m.Take.Verdict == shoot.Unsure:
			unsure++
		}
	}
	var lines []string
	if len(rows) > 0 {
		lines = table(s, "verdict", rows)
	}
	if rest := restText(s, r.Pair.Document, name); len(rest) > 0 {
		lines = append(lines, rest...)
	}
	lines = append(append(lines, ""), wrap(pairSummary(r.Pair.Document), s.width-1)...)
	if done > 0 {
		text := fmt.Sprintf("%s in %s", count(done, "finished clip"), folderOf(r))
		if fresh < done {
			text += fmt.Sprintf(" (%d new, %d already there)", fresh, done-fresh)
		}
		lines = append(lines, text)
	} else {
		lines = append(lines, "No clip was written.")
	}
	if stuck > 0 {
		lines = append(lines, count(stuck, "clip")+" not written, for another one stands there; to replace, add --again")
	}
	if unsure > 0 && !alsoUnsure {
		lines = append(lines, count(unsure, "unsure take")+" not married; to have them too, add --also unsure")
	}
	if r.Report != "" {
		lines = append(lines, "Report: "+fault.Escape(strings.TrimSuffix(r.Report, ".json")+".txt"))
	}
	return lines
}

// folderOf is where the finished clips are.
func folderOf(r *app.MarryResult) string {
	for _, m := range r.Clips {
		if m.Out != "" {
			return fault.Quote(filepath.ToSlash(filepath.Dir(m.Out)))
		}
	}
	return fault.Quote(filepath.ToSlash(filepath.Dir(r.Report)))
}

// marriedRow is one clip's row: the measured columns, and what became of it.
func marriedRow(m app.Married, name func(string) string) row {
	r := takeRow(m.Take, name)
	r.clip, r.sound = name(m.Clip), name(m.Sound)
	if m.Sound == "" && m.Take.Sound == "" {
		r.offset, r.drift = "-", "-"
	}
	switch m.State {
	case app.Written, app.Kept:
		state := m.State
		if state == app.Kept {
			state = "already there"
		}
		r.below = append(r.below, state+": "+fault.Escape(filepath.Base(m.Out))+proved(m.Proof))
	case app.Broken:
		r.word, r.tone = "failed", bad
		r.below = append(r.below, oneLine(m.Error))
	default:
		if r.word == "" {
			r.word = string(shoot.Single)
		}
		r.below = append(r.below, "not married: "+because(m.Why))
	}
	if (m.State == app.Written || m.State == app.Kept) && len(m.Why) > 0 {
		r.below = append(r.below, because(m.Why))
	}
	if m.Laid != "" && !blocked(m) && !strings.HasPrefix(m.Laid, "on ") {
		r.below = append(r.below, "laid "+oneLine(m.Laid))
	}
	for _, gap := range m.Fills {
		r.below = append(r.below, fmt.Sprintf("no good sound from %s to %s: %s there", moment(gap.From), moment(gap.To), oneLine(gap.With)))
	}
	return r
}

// proved says in a few words what measuring the written file gave.
func proved(p *app.Proof) string {
	if p == nil {
		return ""
	}
	if p.State == app.NoTelling {
		return ", " + app.NoTelling + " how it lies"
	}
	return fmt.Sprintf(", %s, %s, seam %s", p.State, lateness(p.Late), atMost(p.Seam.Max))
}
