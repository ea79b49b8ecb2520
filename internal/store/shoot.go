package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"earshot/internal/fault"
)

// A Shoot is what a person added to a shoot and said of its clips, every step
// of it, and documents laid beside. It is one SQLite file in the shoot's
// folder, and cannot be made again as a Cache can.
//
// What a method has written when it returns stays, though the process be
// killed or the power fail, as far as the disk keeps what it says it has kept.
// Several processes may have one shoot open: each change is a transaction that
// waits for the others' and builds on what they did. A Shoot is safe for
// concurrent use.
//
// While a Shoot is open nothing else in the process may open its file: on
// Unix, closing any handle of a file drops the process's locks on it.
type Shoot struct {
	dir  string
	path string // of the file
	db   *sql.DB
}

const (
	shootFile   = "earshot.sqlite"
	opOpen      = "open the shoot"
	hintAnother = "choose another folder for the shoot, or move that file away; it was left as it is"
	patience    = 10000 // ms to wait for another's transaction
)

// HasShoot tells whether there is a shoot in dir. Nothing is made or opened.
func HasShoot(dir string) bool {
	info, err := os.Stat(filepath.Join(dir, shootFile))
	return err == nil && info.Mode().IsRegular()
}

// OpenShoot opens the shoot in dir; folder and file are made where there are
// none. A shoot of an older form is brought to the newest. One that is damaged,
// somebody else's or of a newer form is refused and left as it is.
func OpenShoot(dir string) (*Shoot, error) {
	steps, err := migrations()
	if err != nil {
		return nil, err
	}
	return openShoot(dir, "", steps)
}

// openShoot opens a shoot through one of SQLite's ways to reach files ("": the
// usual one) and brings it to the form after steps.
func openShoot(dir, vfs string, steps []string) (*Shoot, error) {
	s := &Shoot{dir: dir, path: filepath.Join(dir, shootFile)}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, &fault.Error{Kind: fault.Unwritable, Op: "make the shoot's folder", Subject: dir, Err: fault.Cause(err),
			Hint: "choose a folder that may be written to"}
	}
	if err := s.look(); err != nil {
		return nil, err
	}
	if err := s.begin(vfs, steps); err != nil {
		if s.db != nil {
			s.db.Close()
		}
		return nil, s.failed(opOpen, err)
	}
	return s, nil
}

// look refuses, before SQLite sees it, what SQLite would wait for or write over.
func (s *Shoot) look() error {
	refuse := func(why, hint string) error {
		return &fault.Error{Kind: fault.Unreadable, Op: opOpen, Subject: s.path, Err: errors.New(why), Hint: hint}
	}
	log, noLog := os.Stat(s.path + "-wal") // before the file, which another process may be making
	info, err := os.Stat(s.path)
	switch {
	case err == nil && info.IsDir():
		return refuse("it is a folder", hintAnother)
	case err == nil && !info.Mode().IsRegular():
		return refuse("it is no ordinary file", hintAnother)
	case err != nil && !errors.Is(err, os.ErrNotExist):
		return &fault.Error{Kind: fault.Unreadable, Op: opOpen, Subject: s.path, Err: fault.Cause(err),
			Hint: "check that the disk is still there and that you may read the folder"}
	case err == nil && info.Size() > 0:
		return nil
	}
	// A new database would throw the journal of a lost one away.
	if noLog == nil && log.Size() > 0 {
		return refuse("it is gone, though its journal "+filepath.Base(s.path)+"-wal is still there",
			"put the file back beside its journal, or move the journal away to begin anew")
	}
	return nil
}

// source names the file for SQLite, with what holds for every connection.
func source(path, vfs string, more ...string) (string, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	abs = filepath.ToSlash(abs)
	if !strings.HasPrefix(abs, "/") {
		abs = "/" + abs // a drive's letter; see sqlite.org/uri.html
	}
	q := url.Values{
		"_txlock":    {"immediate"},
		"_defensive": {"1"},
		"_dqs":       {"0"},
		"_pragma": append([]string{
			fmt.Sprintf("busy_timeout(%d)", patience),
			// With a write-ahead log the same as FULL: a commit waits until the log
			// is on the disk. With a rollback journal the folder is waited for too.
			"synchronous(EXTRA)",
			"fullfsync(1)", // macOS: past the disk's own cache
			"checkpoint_fullfsync(1)",
			"foreign_keys(1)",
			"trusted_schema(0)",
			"cell_size_check(1)",
		}, more...),
	}
	if vfs != "" {
		q.Set("vfs", vfs)
	}
	return (&url.URL{Scheme: "file", Path: abs, RawQuery: q.Encode()}).String(), nil
}

// connect makes s.db a connection to the file, in place of the one before.
func (s *Shoot) connect(vfs string, more ...string) error {
	if s.db != nil {
		if err := s.db.Close(); err != nil {
			return err
		}
	}
	name, err := source(s.path, vfs, more...)
	if err != nil {
		return err
	}
	way, err := sqlite.NewConnector(name)
	if err != nil {
		return err
	}
	s.db = sql.OpenDB(way)
	s.db.SetMaxOpenConns(1)
	return nil
}

// begin makes the file ready: with a write-ahead log, which costs one wait for
// the disk to each change. That needs memory shared by all who have the file
// open, so never on a network drive, where they may sit at several machines,
// and not where the system cannot share; there a rollback journal, which costs
// three or more.
func (s *Shoot) begin(vfs string, steps []string) error {
	if !overNetwork(s.dir) {
		logged, err := s.beginLog(vfs, steps)
		if logged || err != nil {
			return err
		}
	}
	// A log that lies there already cannot even be read without sharing, but by
	// one who has the file alone.
	if err := s.connect(vfs, "locking_mode(EXCLUSIVE)"); err != nil {
		return err
	}
	if err := s.check(len(steps)); err != nil {
		return err
	}
	const journal = "journal_mode(TRUNCATE)"
	if _, err := s.db.Exec("PRAGMA " + journal); err != nil {
		return err
	}
	if err := s.connect(vfs, journal); err != nil {
		return err
	}
	return s.migrate(steps)
}

// beginLog makes the file ready with a write-ahead log, or says that there can
// be none.
func (s *Shoot) beginLog(vfs string, steps []string) (logged bool, err error) {
	if err := s.connect(vfs); err != nil {
		return false, err
	}
	err = s.check(len(steps))
	if c := code(err); c == sqlite3.SQLITE_CANTOPEN || c == sqlite3.SQLITE_IOERR {
		return false, nil // maybe for want of sharing; if not, the next try says so
	}
	if err != nil {
		return false, err
	}
	var mode string
	err = patiently(func() error { return s.db.QueryRow("PRAGMA journal_mode = WAL").Scan(&mode) })
	if err != nil {
		return false, err
	}
	if mode != "wal" {
		return false, nil
	}
	return true, s.migrate(steps)
}

// patiently does again what fails because others are at work, as long as SQLite
// itself would wait. Where two make a new file's log at once it does not: each
// has read the file and neither can write while the other reads, so one is told
// to let go.
func patiently(do func() error) error {
	for end := time.Now().Add(patience * time.Millisecond); ; time.Sleep(10 * time.Millisecond) {
		if err := do(); code(err) != sqlite3.SQLITE_BUSY || time.Now().After(end) {
			return err
		}
	}
}

// Close ends the use of the shoot. Nothing is lost without it.
func (s *Shoot) Close() error {
	if err := s.db.Close(); err != nil {
		return s.failed("close the shoot", err)
	}
	return nil
}

// Dir is the folder the shoot lives in.
func (s *Shoot) Dir() string { return s.dir }

// read runs fn on one moment's state of the shoot.
func (s *Shoot) read(op string, fn func(tx *sql.Tx) error) error {
	tx, err := s.db.BeginTx(context.Background(), &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return s.failed(op, err)
	}
	defer tx.Rollback()
	if err := fn(tx); err != nil {
		return s.failed(op, err)
	}
	return nil
}

// write runs fn while nobody else writes. Where fn says that it changed
// something the revision grows and all of it is kept; otherwise nothing is.
func (s *Shoot) write(op string, fn func(tx *sql.Tx) (changed bool, err error)) error {
	tx, err := s.db.Begin()
	if err != nil {
		return s.failed(op, err)
	}
	defer tx.Rollback()
	changed, err := fn(tx)
	if err == nil && changed {
		if _, err = tx.Exec("UPDATE shoot SET revision = revision + 1"); err == nil {
			err = tx.Commit()
		}
	}
	if err != nil {
		return s.failed(op, err)
	}
	return nil
}

// Revision is a number that changes whenever anything in the shoot changed,
// by whomever.
func (s *Shoot) Revision() (n int64, err error) {
	err = s.read("read the shoot", func(tx *sql.Tx) error {
		return tx.QueryRow("SELECT revision FROM shoot").Scan(&n)
	})
	return n, err
}
