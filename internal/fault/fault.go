// Package fault says what went wrong in words a person can act on: what was
// tried, on what, why it failed, and what to do next. Faces map a Kind to an
// exit status.
package fault

import (
	"context"
	"errors"
	"io/fs"
	"os"
)

// A Kind sorts failures by what the person can do about them.
type Kind int

// The kinds of failure.
const (
	Internal   Kind = iota // our own doing: report it
	Usage                  // the request makes no sense as typed
	Unreadable             // an input cannot be read or holds nothing of use
	Unwritable             // an output cannot be written: full, read-only, vanished
	Engine                 // the media engine is missing, unfit or died
	Cancelled              // the person stopped it
)

// An Error prints as
//
//	read sound "mic 2.m4a": no audio stream
//
// and carries a Hint, printed on a line of its own by the faces.
type Error struct {
	Kind    Kind
	Op      string // what was tried: "read sound"
	Subject string // on what: a path as the person gave it; may be empty
	Err     error  // why
	Hint    string // what to do next; may be empty
}

// Error gives one line; control characters in Subject are escaped.
func (e *Error) Error() string {
	s := e.Op
	if e.Subject != "" {
		s += " " + Quote(e.Subject)
	}
	if e.Err != nil {
		s += ": " + e.Err.Error()
	}
	return s
}

// Unwrap lets errors.Is and errors.As look at the cause.
func (e *Error) Unwrap() error { return e.Err }

// Cause is an error of the standard library's file calls without the paths in
// it, which an Error names itself. Other errors are returned as they are.
func Cause(err error) error {
	var p *fs.PathError
	var l *os.LinkError
	switch {
	case errors.As(err, &p):
		return p.Err
	case errors.As(err, &l):
		return l.Err
	}
	return err
}

// KindOf returns the kind of the outermost Error in err's chain. A cancelled
// context counts as Cancelled, anything else unknown as Internal.
func KindOf(err error) Kind {
	if errors.Is(err, context.Canceled) {
		return Cancelled
	}
	var e *Error
	if errors.As(err, &e) {
		return e.Kind
	}
	return Internal
}

// HintOf returns the first hint in err's chain, or "".
func HintOf(err error) string {
	for err != nil {
		var e *Error
		if !errors.As(err, &e) {
			return ""
		}
		if e.Hint != "" {
			return e.Hint
		}
		err = e.Err
	}
	return ""
}
