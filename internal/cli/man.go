package cli

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"earshot/internal/fault"
)

// man is the hidden `earshot man DIR`: one manual page for each command,
// from the same words as the help. The Makefile calls it.
func (f *face) man() *cobra.Command {
	return &cobra.Command{
		Use:    "man DIR",
		Short:  "write manual pages",
		Long:   "Write a manual page for each command into DIR.",
		Hidden: true,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) != 1 {
				return badUsage(c, "name the folder to write into")
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			if err := os.MkdirAll(args[0], 0o777); err != nil {
				return &fault.Error{Kind: fault.Unwritable, Op: "make folder", Subject: args[0], Err: err}
			}
			pages := []*cobra.Command{c.Root()}
			for _, sub := range c.Root().Commands() {
				if sub.IsAvailableCommand() && sub.Name() != "help" {
					pages = append(pages, sub)
				}
			}
			for _, p := range pages {
				path := filepath.Join(args[0], strings.ReplaceAll(p.CommandPath(), " ", "-")+".1")
				if err := os.WriteFile(path, []byte(manPage(p)), 0o666); err != nil {
					return &fault.Error{Kind: fault.Unwritable, Op: "write manual page", Subject: path, Err: err}
				}
			}
			return nil
		},
	}
}

// manPage writes c's page in the man(7) macros.
func manPage(c *cobra.Command) string {
	var b strings.Builder
	title := strings.ReplaceAll(c.CommandPath(), " ", "-")
	fmt.Fprintf(&b, ".TH %s 1 \"\" Earshot\n.SH NAME\n%s \\- %s\n", roff(strings.ToUpper(title)), roff(title), roff(c.Short))
	fmt.Fprintf(&b, ".SH SYNOPSIS\n.B %s\n", roff(usageLine(c)))
	fmt.Fprintf(&b, ".SH DESCRIPTION\n%s\n", roff(strings.ReplaceAll(c.Long, "\n\n", "\n.PP\n")))
	if !c.HasParent() {
		b.WriteString(".SH COMMANDS\n")
		for _, sub := range c.Commands() {
			if sub.IsAvailableCommand() && sub.Name() != "help" {
				fmt.Fprintf(&b, ".TP\n.BR earshot-%s (1)\n%s\n", roff(sub.Name()), roff(sub.Short))
			}
		}
	}
	b.WriteString(".SH OPTIONS\n")
	for _, set := range []*pflag.FlagSet{c.NonInheritedFlags(), c.InheritedFlags()} {
		set.VisitAll(func(fl *pflag.Flag) {
			if fl.Hidden {
				return
			}
			name, usage := flagWords(fl)
			fmt.Fprintf(&b, ".TP\n.B %s\n%s\n", roff(name), roff(usage))
		})
	}
	if c.Example != "" {
		fmt.Fprintf(&b, ".SH EXAMPLES\n.nf\n%s\n.fi\n", roff(c.Example))
	}
	if exits := c.Annotations[exitKey]; exits != "" {
		fmt.Fprintf(&b, ".SH \"EXIT STATUS\"\n.nf\n%s\n.fi\n", roff(exits))
	}
	b.WriteString(".SH ENVIRONMENT\n.TP\n.B EARSHOT_CACHE\nthe folder for what earshot keeps for itself\n" +
		".TP\n.B EARSHOT_SHOOT\nthe folder that keeps what you said on the desk\n" +
		".TP\n.B NO_COLOR\nwhen set, no colours on the terminal\n")
	return b.String()
}

// roff escapes text for man(7): backslashes, hyphens that must stay hyphens,
// and lines that would begin a request. Requests of ours on a line of their
// own stay as they are.
func roff(text string) string {
	lines := strings.Split(text, "\n")
	for i, line := range lines {
		if line == ".PP" {
			continue
		}
		line = strings.NewReplacer(`\`, `\e`, "-", `\-`).Replace(line)
		if strings.HasPrefix(line, ".") || strings.HasPrefix(line, "'") {
			line = `\&` + line
		}
		lines[i] = line
	}
	return strings.Join(lines, "\n")
}
