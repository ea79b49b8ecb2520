// Package cli is Earshot's command line: flags in, text or one JSON document
// out. Each command has a file of its own, named as the use case in package
// app that it calls; terminal.go holds the rules for all output.
//
// Nothing here is kept in package variables: Run takes what it needs in an
// Env, which makes the whole face testable with a fake App.
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"earshot/internal/app"
	"earshot/internal/fault"
)

// UseCases is what the commands ask for; *app.App is the one that ships.
type UseCases interface {
	Demo(context.Context, app.DemoOptions) (*app.DemoResult, error)
	Doctor(context.Context) (*app.Health, error)
	Marry(context.Context, app.MarryOptions) (*app.MarryResult, error)
	Pair(context.Context, app.PairOptions) (*app.PairResult, error)
	Prove(context.Context, app.ProveOptions) (*app.Proof, error)
	Say(context.Context, app.SayOptions) (done []string, err error)
}

// Settings are what the global flags choose before a use case runs.
type Settings struct {
	Engine string            // "auto", "embedded" or "native"
	Cache  string            // folder for derived data; "" = the system's cache folder
	Say    func(line string) // for remarks while opening; never nil
}

// Env is the world Run works in.
type Env struct {
	Stdout, Stderr io.Writer
	Getenv         func(string) string
	Version        string

	// Open makes the use cases ready. It is called at most once, and only
	// when a command is going to do something: help costs nothing. The
	// function it returns closes what it opened.
	Open func(context.Context, Settings) (UseCases, func() error, error)

	// Desk serves the page until ctx ends or a person closes it.
	Desk func(context.Context, DeskAsk) error
}

// The exit statuses.
const (
	exitOK          = 0
	exitFailed      = 1   // something failed to read or write
	exitUsage       = 2   // the command was not understood
	exitUnsure      = 3   // at least one answer is not sure
	exitInterrupted = 130 // stopped by the person, as shells count it
)

// A face is one run of the program.
type face struct {
	env      Env
	term     *terminal
	engine   string
	cache    string
	shoot    string
	json     bool
	commands []*cobra.Command // in the order help lists them
	status   int              // what a command that ran to its end wants to exit with
	shutdown []func() error
}

// Run does what args ask for, without the program's name in front, and
// returns the exit status. A cancelled ctx stops the work and gives 130.
func Run(ctx context.Context, args []string, env Env) (status int) {
	f := &face{env: env, term: newTerminal(env.Stdout, env.Stderr, env.Getenv)}
	defer func() {
		if r := recover(); r != nil {
			f.term.fail(&fault.Error{Kind: fault.Internal, Op: "go on", Err: fmt.Errorf("%v", r),
				Hint: "this is a mistake in earshot; originals are never written to"})
			status = exitFailed
		}
	}()
	root := f.root()
	root.SetArgs(append([]string{}, args...))
	err := root.ExecuteContext(ctx)
	for _, shut := range f.shutdown {
		if e := shut(); err == nil {
			err = e
		}
	}
	if e := f.term.finish(); err == nil {
		err = e
	}
	if err != nil {
		return f.failed(ctx, err)
	}
	return f.status
}

// failed reports err and picks the status for it.
func (f *face) failed(ctx context.Context, err error) int {
	kind := fault.KindOf(err)
	if ctx.Err() != nil || kind == fault.Cancelled {
		f.term.say("stopped; what was already finished stays, nothing half-written is left")
		return exitInterrupted
	}
	f.term.fail(err)
	if kind == fault.Usage {
		return exitUsage
	}
	return exitFailed
}

// root builds the command tree.
func (f *face) root() *cobra.Command {
	root := &cobra.Command{
		Use:           "earshot",
		Short:         "lay well recorded sound under the pictures it belongs to",
		Long:          aboutText,
		Version:       f.env.Version,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          f.noSuchCommand,
		RunE:          f.welcome,
	}
	cobra.MousetrapHelpText = "" // a double click opens the desk, as plain earshot does
	root.SetOut(f.env.Stdout)
	root.SetErr(f.env.Stderr)
	root.SetVersionTemplate("earshot {{.Version}}\n")
	root.SetHelpFunc(f.help)
	root.SetUsageFunc(func(*cobra.Command) error { return nil })
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error { return badUsage(c, err.Error()) })
	root.CompletionOptions.DisableDefaultCmd = true

	flags := root.PersistentFlags()
	f.engine = "auto"
	flags.Var(&choice{&f.engine, []string{"auto", "embedded", "native"}}, "engine",
		"media engine; native is the ffmpeg found on PATH")
	flags.StringVar(&f.cache, "cache", f.env.Getenv("EARSHOT_CACHE"),
		"`folder` for what earshot keeps for itself; also EARSHOT_CACHE")
	f.shootFlag(root)
	flags.BoolP("help", "h", false, "show help and stop")
	root.Flags().Bool("version", false, "show the version and stop")
	complete(root, "engine", "auto", "embedded", "native")
	for _, name := range []string{"cache", "shoot"} {
		_ = root.MarkPersistentFlagDirname(name) // it is defined above
	}

	f.commands = []*cobra.Command{f.demo(), f.desk(), f.marry(), f.pair(), f.prove(), f.doctor(), f.completion(), f.man()}
	root.AddCommand(f.commands...)
	root.SetHelpCommand(f.helpCommand(root))
	return root
}

// open makes the use cases ready for a command.
func (f *face) open(ctx context.Context) (UseCases, error) {
	cases, shut, err := f.env.Open(ctx, Settings{Engine: f.engine, Cache: f.cache, Say: f.term.say})
	if err != nil {
		return nil, err
	}
	if shut != nil {
		f.shutdown = append(f.shutdown, shut)
	}
	return cases, nil
}

// jsonFlag adds --json to a command that reports.
func (f *face) jsonFlag(c *cobra.Command) {
	c.Flags().BoolVar(&f.json, "json", false, "print one JSON document instead of text")
}

// badUsage is an error about how c was called.
func badUsage(c *cobra.Command, why string) error {
	op := c.Name()
	if !c.HasParent() {
		op = "command line"
	}
	return &fault.Error{Kind: fault.Usage, Op: op, Err: errors.New(oneLine(why)), Hint: "see " + c.CommandPath() + " --help"}
}

// noSuchCommand refuses words after plain "earshot" that are no command.
func (f *face) noSuchCommand(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	e := &fault.Error{Kind: fault.Usage, Op: "run", Subject: args[0], Err: errors.New("there is no such command"),
		Hint: "see earshot --help"}
	c.SuggestionsMinimumDistance = 2
	if near := c.SuggestionsFor(args[0]); len(near) > 0 {
		e.Hint = "did you mean: earshot " + near[0]
	} else if _, err := os.Stat(args[0]); err == nil {
		e.Hint = "to put recordings together: earshot marry " + fault.Quote(args[0])
	}
	return e
}

// takesPaths wants at least one path, and one of them to be there, so that a
// misspelt name is answered before the engine is opened.
func takesPaths(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return badUsage(c, "name the files or folders that hold the recordings")
	}
	var first error
	for _, path := range args {
		_, err := os.Stat(path)
		if err == nil {
			return nil
		}
		if first == nil {
			first = unreadable(path, err)
		}
	}
	return first
}

// unreadable says that a path cannot be looked at, without naming it twice.
func unreadable(path string, err error) error {
	e := &fault.Error{Kind: fault.Unreadable, Op: "read", Subject: path, Err: fault.Cause(err)}
	if os.IsNotExist(err) {
		e.Err = errors.New("there is no such file or folder")
		e.Hint = "check the spelling; quote names that hold blanks"
	}
	return e
}

// A choice is a flag that takes one of a few words.
type choice struct {
	to    *string
	words []string
}

// Set implements pflag.Value.
func (c *choice) Set(s string) error {
	for _, w := range c.words {
		if s == w {
			*c.to = s
			return nil
		}
	}
	return fmt.Errorf("choose one of: %s", strings.Join(c.words, ", "))
}

// String implements pflag.Value.
func (c *choice) String() string {
	if c.to == nil {
		return ""
	}
	return *c.to
}

// Type implements pflag.Value.
func (c *choice) Type() string { return strings.Join(c.words, "|") }

// complete makes the shell offer words for a flag.
func complete(c *cobra.Command, flag string, words ...string) {
	if err := c.RegisterFlagCompletionFunc(flag, cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp)); err != nil {
		panic(err) // the flag's name is misspelt in this package
	}
}
