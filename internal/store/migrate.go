package store

import (
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"path"

	"earshot/internal/fault"
)

// Each file brings a shoot from the form before it to its own; the first makes
// it. A file that was released is never changed again: a new form is a new
// file, with a shoot of that form in testdata/forms.
//
//go:embed migrations/*.sql
var migrationFiles embed.FS

// migrations returns what brings a shoot from one form to the next, oldest
// first. A shoot's form is how many of them it has had.
func migrations() ([]string, error) {
	const dir = "migrations"
	files, err := migrationFiles.ReadDir(dir) // in the order of their names
	if err != nil {
		return nil, err
	}
	var steps []string
	for _, f := range files {
		text, err := migrationFiles.ReadFile(path.Join(dir, f.Name()))
		if err != nil {
			return nil, err
		}
		steps = append(steps, string(text))
	}
	return steps, nil
}

// applicationID marks a SQLite file as ours, where the format keeps a place for
// that: the letters "Ears".
const applicationID = 0x45617273

// A form is what a SQLite file says of itself.
type form struct {
	application int
	version     int // how many migrations it has had
	tables      int // and indexes
}

// fresh tells whether nobody has used the file yet.
func (f form) fresh() bool { return f == form{} }

type rower interface {
	QueryRow(query string, args ...any) *sql.Row
}

func readForm(db rower) (f form, err error) {
	err = db.QueryRow("SELECT application_id, user_version, (SELECT count(*) FROM sqlite_master) FROM pragma_application_id, pragma_user_version").
		Scan(&f.application, &f.version, &f.tables)
	return f, err
}

// known refuses a file that is somebody else's, or newer than so many
// migrations.
func (f form) known(path string, newest int) error {
	switch {
	case f.fresh():
		return nil
	case f.application != applicationID:
		return &fault.Error{Kind: fault.Unreadable, Op: opOpen, Subject: path, Err: errors.New("it is another program's database"), Hint: hintAnother}
	case f.version < 1:
		return broken(path, opOpen)
	case f.version > newest:
		return &fault.Error{Kind: fault.Unreadable, Op: opOpen, Subject: path,
			Err:  fmt.Errorf("a newer Earshot made it (form %d; this one knows %d)", f.version, newest),
			Hint: "open it with the newer Earshot; it was left as it is"}
	}
	return nil
}

// check refuses a file that is damaged, somebody else's or too new. Nothing is
// written.
func (s *Shoot) check(newest int) error {
	f, err := readForm(s.db)
	if err != nil {
		return err
	}
	if err := f.known(s.path, newest); err != nil || f.fresh() {
		return err
	}
	var found string
	if err := s.db.QueryRow("PRAGMA quick_check(1)").Scan(&found); err != nil {
		return err
	}
	if found != "ok" {
		return broken(s.path, opOpen)
	}
	return nil
}

// migrate brings the file to the newest form, all the way or not at all. It
// fails where the file may not be written to, also when there is nothing to do.
func (s *Shoot) migrate(steps []string) error {
	tx, err := s.db.Begin()
	if err != nil {
		return err
	}
	defer tx.Rollback()
	f, err := readForm(tx) // another process may have been faster
	if err != nil {
		return err
	}
	if err := f.known(s.path, len(steps)); err != nil {
		return err
	}
	if f.version == len(steps) {
		_, err := tx.Exec("UPDATE shoot SET revision = revision") // and back again
		return err
	}
	for _, step := range steps[f.version:] {
		if _, err := tx.Exec(step); err != nil {
			return err
		}
	}
	if _, err := tx.Exec(fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", applicationID, len(steps))); err != nil {
		return err
	}
	return tx.Commit()
}
