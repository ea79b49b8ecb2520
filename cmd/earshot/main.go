// Earshot lays separately recorded sound under the pictures it belongs to.
//
// This package only puts the parts together: the media engine, the folder of
// derived data and the use cases, behind the command line of package cli.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"

	"earshot/internal/app"
	"earshot/internal/cli"
	"earshot/internal/media/ffmpeg"
	"earshot/internal/store"
)

// version is set by the Makefile with -ldflags; a build without it says what
// the module system knows.
var version string

func main() {
	// The embedded engine runs in a child process, which is this program.
	if handled, status := ffmpeg.ChildMain(os.Args); handled {
		os.Exit(status)
	}
	os.Exit(run(os.Args[1:], os.Stdout, os.Stderr))
}

// run is the program without the process around it: it returns the exit
// status. The first Ctrl-C stops the work and cleans up; the second one ends
// the process at once.
func run(args []string, stdout, stderr io.Writer) int {
	ctx, release := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer release()
	context.AfterFunc(ctx, release) // from here on a signal has its usual effect
	return cli.Run(ctx, args, cli.Env{
		Stdout:  stdout,
		Stderr:  stderr,
		Getenv:  os.Getenv,
		Version: versionText(),
		Open:    open,
		Desk:    serveDesk,
	})
}

// open puts the use cases together for a command.
func open(_ context.Context, set cli.Settings) (cli.UseCases, func() error, error) {
	uses, err := useCases(set)
	if err != nil {
		return nil, nil, err
	}
	return uses, uses.Engine.Close, nil
}

// useCases puts the use cases together. The engine and the cache do nothing
// before they are first used.
func useCases(set cli.Settings) (*app.App, error) {
	dir, err := cacheDir(set)
	if err != nil {
		return nil, err
	}
	engine, err := ffmpeg.Open(ffmpeg.Options{Choice: set.Engine, CacheDir: dir, Say: set.Say})
	if err != nil {
		return nil, err
	}
	return &app.App{Engine: engine, Cache: store.Open(dir, store.DefaultLimit)}, nil
}

func versionText() string {
	if version != "" {
		return version
	}
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		return info.Main.Version
	}
	return "(devel)"
}
