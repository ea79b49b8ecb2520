package cli

import (
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

const aboutText = `Earshot finds which separately recorded sound belongs to which camera clip,
lines the two up along their whole length, proves the result, and writes
finished clips. The picture is copied untouched; originals are only read.`

// The annotation under which a command keeps its exit statuses, one a line.
const exitKey = "exit"

// The exit statuses of commands that work through many recordings.
const exitsOfMany = `0    every take is sure
1    something could not be read or written; the rest was done
2    the command was not understood; nothing was done
3    at least one take is unsure
130  stopped with Ctrl-C
When 1 and 3 both hold, the status is 1.`

// help prints a command's help: what it does, how to call it, the flags,
// examples and exit statuses.
func (f *face) help(c *cobra.Command, _ []string) {
	s := f.term.out
	lines := []string{c.Long, "", s.paint(strong, "usage"), "  " + usageLine(c)}
	if !c.HasParent() {
		lines = append(lines, "", s.paint(strong, "commands"))
		for _, sub := range f.commands {
			if sub.IsAvailableCommand() {
				lines = append(lines, "  "+pad(sub.Name(), 12, false)+sub.Short)
			}
		}
	}
	lines = append(lines, flagLines(s, "flags", c.NonInheritedFlags())...)
	lines = append(lines, flagLines(s, "flags of every command", c.InheritedFlags())...)
	if c.Example != "" {
		lines = append(lines, "", s.paint(strong, "examples"), indent(c.Example))
	}
	if exits := c.Annotations[exitKey]; exits != "" {
		lines = append(lines, "", s.paint(strong, "exit status"), indent(exits))
	}
	if !c.HasParent() {
		lines = append(lines, "", "earshot COMMAND --help tells more about one command.")
	}
	f.term.print(lines...)
}

func usageLine(c *cobra.Command) string {
	if !c.HasParent() {
		return "earshot COMMAND ..."
	}
	return c.Parent().CommandPath() + " " + c.Use
}

func flagLines(s sink, title string, flags *pflag.FlagSet) []string {
	if !flags.HasAvailableFlags() {
		return nil
	}
	lines := []string{"", s.paint(strong, title)}
	flags.VisitAll(func(fl *pflag.Flag) {
		if fl.Hidden {
			return
		}
		name, usage := flagWords(fl)
		text := wrap(usage, s.width-35)
		if cells(name) > 30 {
			lines = append(lines, "  "+name)
			name = ""
		}
		for i, line := range text {
			if i > 0 {
				name = ""
			}
			lines = append(lines, "  "+pad(name, 32, false)+line)
		}
	})
	return lines
}

// flagWords returns a flag as it is typed, and what it does.
func flagWords(fl *pflag.Flag) (name, usage string) {
	value, usage := pflag.UnquoteUsage(fl)
	value = strings.ToUpper(value)
	if c, ok := fl.Value.(*choice); ok {
		value = c.Type()
	}
	name = "--" + fl.Name
	if fl.Shorthand != "" {
		name = "-" + fl.Shorthand + ", " + name
	}
	if value != "" {
		name += " " + value
	}
	if d := fl.DefValue; d != "" && d != "false" && d != "[]" && fl.Name != "cache" {
		usage += " (default " + d + ")"
	}
	return name, usage
}

func indent(text string) string { return "  " + strings.ReplaceAll(text, "\n", "\n  ") }

// helpCommand is `earshot help [COMMAND]`.
func (f *face) helpCommand(root *cobra.Command) *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND]",
		Short: "show help for a command",
		Long:  "Show what a command does, its flags, examples and exit statuses.",
		Args:  cobra.ArbitraryArgs,
		RunE: func(_ *cobra.Command, args []string) error {
			c, rest, err := root.Find(args)
			if err != nil || len(rest) > 0 {
				return f.noSuchCommand(root, args)
			}
			f.help(c, nil)
			return nil
		},
	}
}
