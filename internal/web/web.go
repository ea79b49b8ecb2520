// Package web is the desk's face to a browser on the same computer: the routes
// of docs/desk.md over a Desk. It decides nothing about recordings; it guards
// the door, reads what is asked and writes what the Desk answers.
package web

import (
	"context"
	"io"

	"earshot/internal/desk"
	"earshot/internal/shoot"
)

// Desk is what the page asks for; *desk.Desk is the one that ships. An id that
// names nothing gives an error that is fs.ErrNotExist. All may be called at
// the same time.
type Desk interface {
	State() desk.State
	// Changes waits until there is something newer than version since.
	Changes(ctx context.Context, since int64) (desk.Patch, error)
	// Detail shows a take, with another sound than the chosen one if sound is not "".
	Detail(ctx context.Context, take, sound string) (*desk.Detail, error)

	Say(ctx context.Context, take string, c desk.Change) (*desk.Take, error)
	SayAll(ctx context.Context, all []desk.Saying) error
	Undo(ctx context.Context) (*shoot.Step, error)
	Redo(ctx context.Context) (*shoot.Step, error)
	Measure(ctx context.Context, take string, near desk.Near) (*desk.Nearby, error)

	Places(ctx context.Context) (*desk.Places, error)
	Folder(ctx context.Context, path string) (*desk.Folder, error)
	Add(ctx context.Context, add, remove []string) error
	// Drop keeps what r gives as a recording called name, a base name that
	// every system takes; nothing of it stays when r fails.
	Drop(ctx context.Context, name string, r io.Reader) error
	Demo(ctx context.Context) error

	Peaks(ctx context.Context, id string, ask desk.PeaksAsk) (desk.Peaks, error)
	// Samples are n of a track, mixed to one, at the track's own rate in Hz.
	Samples(ctx context.Context, id string, track int, from int64, n int) (mono []float32, rate int, err error)
	Mirror(ctx context.Context, take string, n int) ([]byte, error)
	Still(ctx context.Context, id string, at float64, width int) ([]byte, error)
	Strip(ctx context.Context, id string, at float64, n, width int) (*desk.Strip, error)
	// File, Picture, Married and MarriedPicture give the path of a file: the
	// original, its small picture, the finished clip, its small picture. A small
	// picture that is not there yet is begun, and the error is desk.ErrMaking.
	File(id string) (path string, err error)
	Picture(ctx context.Context, id string) (path string, err error)
	Married(take string) (path string, err error)
	MarriedPicture(ctx context.Context, take string) (path string, err error)

	// Listen hands interleaved samples to fn until the end, or until fn fails.
	Listen(ctx context.Context, take string, ask desk.ListenAsk, fn func([]float32) error) error
	Loudness(ctx context.Context, take, sound string) (*desk.Loudness, error)

	Marry(ctx context.Context, ask desk.MarryAsk) error
	StopMarrying()
	// Reveal opens the folder of what ("married") or of a take's finished clip.
	Reveal(ctx context.Context, what, take string) error
	Quit()
}

// Options are a Server's choices.
type Options struct {
	Port     int               // on 127.0.0.1; 0: any that is free
	PageDir  string            // serves the page from this folder instead of the program, for working on it
	CacheDir string            // where the beacon lies by which a second start finds this one; "" none
	Version  string            // of the program
	Say      func(line string) // takes remarks; nil: they are dropped
}
