package cli

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"
)

// completion is `earshot completion`: a script that lets a shell complete
// commands, flags and their words.
func (f *face) completion() *cobra.Command {
	shells := []string{"bash", "zsh", "fish", "powershell"}
	return &cobra.Command{
		Use:       "completion SHELL",
		Short:     "print a completion script for bash, zsh, fish or powershell",
		Long:      "Print a script that lets your shell complete earshot's commands, flags and\ntheir words with the Tab key.",
		ValidArgs: shells,
		Example: `earshot completion bash > ~/.local/share/bash-completion/completions/earshot
earshot completion fish > ~/.config/fish/completions/earshot.fish`,
		Annotations: map[string]string{exitKey: "0    printed\n2    no such shell"},
		Args: func(c *cobra.Command, args []string) error {
			if len(args) != 1 || !slices.Contains(shells, args[0]) {
				return badUsage(c, "name one of: "+strings.Join(shells, ", "))
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			var b strings.Builder
			var err error
			switch args[0] {
			case "bash":
				err = c.Root().GenBashCompletionV2(&b, true)
			case "zsh":
				err = c.Root().GenZshCompletion(&b)
			case "fish":
				err = c.Root().GenFishCompletion(&b, true)
			default:
				err = c.Root().GenPowerShellCompletionWithDesc(&b)
			}
			f.term.print(strings.TrimRight(b.String(), "\n"))
			return err
		},
	}
}
