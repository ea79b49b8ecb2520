package cli

import (
	"context"

	"github.com/spf13/cobra"
)

// A DeskAsk is what `earshot desk` was told.
type DeskAsk struct {
	Settings Settings
	Shoot    string            // folder that holds the shoot's state; "" = the usual one
	Add      []string          // files and folders to add
	Open     bool              // open a browser
	Port     int               // of 127.0.0.1; 0 = a free one
	Page     string            // for working on the page: serve it from this folder; "" = the one inside
	Ready    func(desk OnDesk) // told once the page can be opened
}

// OnDesk says where the desk is.
type OnDesk struct {
	URL    string // lets a browser in
	Folder string // of the shoot
	Before bool   // it was open already: this run has only added to it
}

// desk is `earshot desk`: the page.
func (f *face) desk() *cobra.Command {
	ask := DeskAsk{Open: true}
	closed := false
	c := &cobra.Command{
		Use:   "desk [PATH...]",
		Short: "see, hear and mend every take, in a page of your browser",
		Long: `Open the desk: a page in your own browser, served by this program to this machine
alone. PATHs are files and folders to add to the shoot that lies on it. Takes
appear while they are found; what you say of them is kept at once in
earshot.sqlite in the shoot's folder, and heeded by pair and marry too when they
run there.

The shoot's folder is the present one where PATHs are given or a shoot is kept in
it already, else one of today's date in the folder Earshot in your home. A desk
that is open already is found again, and PATHs are added to it. Plain earshot, or
a double click on it, opens the desk too.

Finished clips go into married in the shoot's folder. Ctrl-C closes the desk.

Play takes at low volume first, above all with headphones.`,
		Example: `earshot desk card1 recorder
earshot desk --shoot ~/films/lesson
earshot desk --no-open`,
		Annotations: map[string]string{exitKey: `0    the desk was closed
1    it could not be opened
2    the command was not understood`},
		RunE: func(c *cobra.Command, args []string) error {
			ask.Add, ask.Open = args, !closed
			if len(args) > 0 {
				if err := takesPaths(c, args); err != nil {
					return err
				}
			}
			return f.openDesk(c.Context(), ask)
		},
	}
	c.Flags().BoolVar(&closed, "no-open", false, "print the address and open no browser")
	c.Flags().IntVar(&ask.Port, "port", 0, "serve on this port of 127.0.0.1; 0 takes a free one")
	c.Flags().StringVar(&ask.Page, "page", "", "serve the page from `folder`, for working on it")
	_ = c.Flags().MarkHidden("page")
	return c
}

// openDesk runs the desk until it is closed.
func (f *face) openDesk(ctx context.Context, ask DeskAsk) error {
	ask.Settings = Settings{Engine: f.engine, Cache: f.cache, Say: f.term.say}
	ask.Shoot = f.shoot
	ask.Ready = func(d OnDesk) {
		s := f.term.out
		first := "The desk is open:"
		if d.Before {
			first = "The desk was open already:"
		}
		f.term.print(first, "", "    "+s.paint(strong, d.URL), "", "Shoot: "+oneLine(d.Folder))
		if !d.Before {
			f.term.print("Ctrl-C closes it. What was said stays; nothing leaves this machine.")
		}
	}
	return f.env.Desk(ctx, ask)
}

// shootFlag adds --shoot to every command.
func (f *face) shootFlag(root *cobra.Command) {
	root.PersistentFlags().StringVar(&f.shoot, "shoot", f.env.Getenv("EARSHOT_SHOOT"),
		"`folder` that keeps what you said on the desk; also EARSHOT_SHOOT")
}

// heeded is the folder whose shoot's words pair and marry heed.
func (f *face) heeded() string {
	if f.shoot == "" {
		return "."
	}
	return f.shoot
}
