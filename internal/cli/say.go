package cli

import (
	"context"
	"errors"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"earshot/internal/app"
	"earshot/internal/fault"
	"earshot/internal/shoot"
)

// says are the flags with which a person says what they may say on the desk.
type says struct {
	approve, refuse, with, lay, call, note []string
	undo, redo                             int
}

// flags adds them to a command.
func (s *says) flags(c *cobra.Command) {
	f := c.Flags()
	f.StringArrayVar(&s.approve, "approve", nil, "say that a `CLIP`'s take is right")
	f.StringArrayVar(&s.refuse, "refuse", nil, "say that a sound does not belong to a clip: `CLIP=SOUND`")
	f.StringArrayVar(&s.with, "with", nil, "choose a clip's sound: `CLIP=SOUND`")
	f.StringArrayVar(&s.lay, "lay", nil, "lay a clip where you say: `CLIP=OFFSET` or CLIP=OFFSET,PPM; CLIP=measured takes it back")
	f.StringArrayVar(&s.call, "call", nil, "name a clip for its finished file: `CLIP=NAME`")
	f.StringArrayVar(&s.note, "note", nil, "note something about a clip: `CLIP=TEXT`")
	f.IntVar(&s.undo, "undo", 0, "take the last `N` things back that were said")
	f.IntVar(&s.redo, "redo", 0, "say `N` things again that were taken back")
}

// options turns the flags into what is asked for.
func (s *says) options(paths []string, folder string) (app.SayOptions, error) {
	opt := app.SayOptions{Paths: paths, Shoot: folder, Undo: s.undo, Redo: s.redo}
	if s.undo < 0 || s.redo < 0 {
		return opt, saidBadly("--undo and --redo", "a number of steps is 0 or more")
	}
	for _, set := range []struct {
		flag   string
		given  []string
		change func(value string) (shoot.Change, error)
	}{
		{"--with", s.with, func(v string) (shoot.Change, error) { return shoot.Change{Sound: &v}, nil }},
		{"--lay", s.lay, laying},
		{"--refuse", s.refuse, func(v string) (shoot.Change, error) { return shoot.Change{Refused: &[]string{v}}, nil }},
		{"--call", s.call, func(v string) (shoot.Change, error) { return shoot.Change{Name: &v}, nil }},
		{"--note", s.note, func(v string) (shoot.Change, error) { return shoot.Change{Note: &v}, nil }},
	} {
		for _, given := range set.given {
			clip, value, ok := strings.Cut(given, "=")
			if !ok || clip == "" {
				return opt, saidBadly(set.flag, given+" is not of the form CLIP=...")
			}
			change, err := set.change(value)
			if err != nil {
				return opt, err
			}
			opt.Say = append(opt.Say, app.Saying{Clip: clip, Change: change})
		}
	}
	yes := true
	for _, clip := range s.approve {
		opt.Say = append(opt.Say, app.Saying{Clip: clip, Change: shoot.Change{Approved: &yes}})
	}
	return opt, nil
}

// laying reads "1.25", "1.25,-12.5" or "measured".
func laying(value string) (shoot.Change, error) {
	var line *shoot.Line
	if value != "measured" {
		offset, drift, two := strings.Cut(value, ",")
		s, err1 := strconv.ParseFloat(offset, 64)
		ppm, err2 := 0.0, error(nil)
		if two {
			ppm, err2 = strconv.ParseFloat(drift, 64)
		}
		if errors.Join(err1, err2) != nil {
			return shoot.Change{}, saidBadly("--lay", value+" is no offset in seconds, with or without a drift in ppm")
		}
		line = &shoot.Line{Offset: s, Drift: ppm}
	}
	return shoot.Change{Line: &line}, nil
}

func saidBadly(flag, why string) error {
	return &fault.Error{Kind: fault.Usage, Op: "take", Subject: flag, Err: errors.New(oneLine(why)), Hint: "see earshot pair --help"}
}

// say keeps words, before anything is measured.
func (f *face) say(ctx context.Context, cases UseCases, words app.SayOptions) error {
	done, err := cases.Say(ctx, words)
	for _, line := range done {
		f.term.say("kept: " + oneLine(line))
	}
	return err
}
