package store

import (
	"errors"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"earshot/internal/fault"
)

// code is SQLite's primary result code in err, or 0; see sqlite.org/rescode.html.
func code(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code() & 0xff
	}
	return 0
}

func broken(path, op string) error {
	return &fault.Error{Kind: fault.Unreadable, Op: op, Subject: path, Err: errors.New("the file is damaged"),
		Hint: "put a copy from a backup in its place, or move it away to begin anew; it was left as it is"}
}

// failed says what SQLite's err means to a person. Errors that say it already
// are returned as they are.
func (s *Shoot) failed(op string, err error) error {
	var said *fault.Error
	if errors.As(err, &said) {
		return err
	}
	e := &fault.Error{Kind: fault.Unwritable, Op: op, Subject: s.path, Err: err}
	switch code(err) {
	case sqlite3.SQLITE_CORRUPT:
		return broken(s.path, op)
	case sqlite3.SQLITE_NOTADB:
		e.Kind, e.Err = fault.Unreadable, errors.New("it is no shoot of Earshot, or damaged")
		e.Hint = hintAnother
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_PROTOCOL:
		e.Err = errors.New("another program holds it")
		e.Hint = "close whatever else has this shoot open, then try again"
	case sqlite3.SQLITE_FULL:
		e.Err = errors.New("the disk is full")
		e.Hint = "free some space there, then try again"
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM:
		e.Err = errors.New("it may only be read")
		e.Hint = "choose a folder that may be written to"
	case sqlite3.SQLITE_CANTOPEN:
		e.Err = errors.New("it cannot be made or opened there")
		e.Hint = "choose a folder that may be written to"
	case sqlite3.SQLITE_IOERR:
		e.Hint = "check that the disk is still there, then try again"
	default:
		e.Kind = fault.Internal
	}
	return e
}
