package cli

import "github.com/spf13/cobra"

// welcome answers plain `earshot`: it opens the desk, and says what else there
// is.
func (f *face) welcome(c *cobra.Command, _ []string) error {
	f.term.print(
		"Hello. Earshot puts the sound from your body mics under the pictures from",
		"your cameras, and shows you how well it lies. Your files are only read, and",
		"nothing leaves this machine. earshot --help lists all there is.",
		"",
	)
	return f.openDesk(c.Context(), DeskAsk{Open: true})
}
