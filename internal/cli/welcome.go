package cli

import "github.com/spf13/cobra"

// welcome answers plain `earshot`: what to type first.
func (f *face) welcome(*cobra.Command, []string) error {
	s := f.term.out
	f.term.print(
		"Hello. Earshot puts the sound from your body mics under the pictures from",
		"your cameras, and shows you how well it lies.",
		"",
		"  See it work on a small shoot it makes up itself:",
		"",
		"    "+s.paint(strong, "earshot demo"),
		"",
		"  Then on your own recordings, clips and sounds in any order:",
		"",
		"    "+s.paint(strong, "earshot marry FOLDER --to married"),
		"",
		"  Your files are only read. Nothing leaves this machine.",
		"  earshot --help lists everything else.",
	)
	return nil
}
