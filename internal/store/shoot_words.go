package store

import (
	"database/sql"
	"encoding/json"
	"errors"
	"slices"

	"earshot/internal/fault"
	"earshot/internal/shoot"
)

// Paths returns what the person added, in the order of adding.
func (s *Shoot) Paths() (paths []string, err error) {
	err = s.read("read what was added", func(tx *sql.Tx) error {
		paths, err = readPaths(tx)
		return err
	})
	return paths, err
}

func readPaths(tx *sql.Tx) ([]string, error) {
	rows, err := tx.Query("SELECT path FROM paths ORDER BY place")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var paths []string
	for rows.Next() {
		var p string
		if err := rows.Scan(&p); err != nil {
			return nil, err
		}
		paths = append(paths, p)
	}
	return paths, rows.Err()
}

// SetPaths keeps what the person added, in this order, in place of what was.
func (s *Shoot) SetPaths(paths []string) error {
	return s.write("keep what was added", func(tx *sql.Tx) (bool, error) {
		had, err := readPaths(tx)
		if err != nil || slices.Equal(had, paths) {
			return false, err
		}
		if _, err := tx.Exec("DELETE FROM paths"); err != nil {
			return false, err
		}
		for i, p := range paths {
			if _, err := tx.Exec("INSERT INTO paths (place, path) VALUES (?, ?)", i+1, p); err != nil {
				return false, err
			}
		}
		return true, nil
	})
}

// Words returns what is said of each clip, by its key. Clips of which nothing
// is said are left out.
func (s *Shoot) Words() (map[string]shoot.Word, error) {
	words := map[string]shoot.Word{}
	err := s.read("read what was said", func(tx *sql.Tx) error {
		rows, err := tx.Query("SELECT clip, word FROM words")
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var clip, text string
			if err := rows.Scan(&clip, &text); err != nil {
				return err
			}
			var w shoot.Word
			if json.Unmarshal([]byte(text), &w) != nil {
				return broken(s.path, "read what was said")
			}
			words[clip] = w
		}
		return rows.Err()
	})
	if err != nil {
		return nil, err
	}
	return words, nil
}

// inked is a word as the file has it; not Valid where nothing is said.
type inked = sql.NullString

func ink(w shoot.Word) (inked, error) {
	if w.Empty() {
		return inked{}, nil
	}
	b, err := json.Marshal(w)
	return inked{String: string(b), Valid: true}, err
}

// lay makes w the word on clip.
func lay(tx *sql.Tx, clip string, w inked) (err error) {
	if w.Valid {
		_, err = tx.Exec("INSERT INTO words (clip, word) VALUES (?, ?) ON CONFLICT DO UPDATE SET word = excluded.word", clip, w)
	} else {
		_, err = tx.Exec("DELETE FROM words WHERE clip = ?", clip)
	}
	return err
}

// Say makes w what is said of a clip, in place of what was. It is one step, with
// a label for people; what was taken back before can then no longer be done
// again. To say what stands already is no step and changes nothing.
func (s *Shoot) Say(clip string, w shoot.Word, label string) error {
	const op = "keep what was said"
	after, err := ink(w)
	if err != nil { // a number that is none
		return &fault.Error{Kind: fault.Usage, Op: op, Subject: clip, Err: err}
	}
	return s.write(op, func(tx *sql.Tx) (bool, error) {
		var before inked
		err := tx.QueryRow("SELECT word FROM words WHERE clip = ?", clip).Scan(&before)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return false, err
		}
		if before == after {
			return false, nil
		}
		if err := lay(tx, clip, after); err != nil {
			return false, err
		}
		done, err := tx.Exec("INSERT INTO steps (parent, clip, label, before, after) SELECT here, ?, ?, ?, ? FROM shoot", clip, label, before, after)
		if err != nil {
			return false, err
		}
		id, err := done.LastInsertId()
		if err != nil {
			return false, err
		}
		_, err = tx.Exec("UPDATE shoot SET here = ?", id)
		return true, err
	})
}

// What Undo and Redo would do: the step, the word it leads to, and the step
// that then stands.
const (
	behind = "SELECT clip, label, before, parent FROM steps WHERE id = (SELECT here FROM shoot)"
	ahead  = "SELECT clip, label, after, id FROM steps WHERE parent IS (SELECT here FROM shoot) ORDER BY id DESC LIMIT 1"
)

// A turn is a step to be taken back or done again.
type turn struct {
	step *shoot.Step // nil: there is none
	word inked
	here sql.NullInt64
}

func readTurn(tx *sql.Tx, query string) (turn, error) {
	t := turn{step: &shoot.Step{}}
	err := tx.QueryRow(query).Scan(&t.step.Clip, &t.step.Label, &t.word, &t.here)
	if errors.Is(err, sql.ErrNoRows) {
		return turn{}, nil
	}
	return t, err
}

// Undo takes the last step back and returns it; nil where there is none.
func (s *Shoot) Undo() (*shoot.Step, error) { return s.turn("take a step back", behind) }

// Redo does the step again that was last taken back and returns it; nil where
// there is none.
func (s *Shoot) Redo() (*shoot.Step, error) { return s.turn("do a step again", ahead) }

func (s *Shoot) turn(op, query string) (*shoot.Step, error) {
	var t turn
	err := s.write(op, func(tx *sql.Tx) (_ bool, err error) {
		if t, err = readTurn(tx, query); err != nil || t.step == nil {
			return false, err
		}
		if err := lay(tx, t.step.Clip, t.word); err != nil {
			return false, err
		}
		_, err = tx.Exec("UPDATE shoot SET here = ?", t.here)
		return true, err
	})
	if err != nil {
		return nil, err
	}
	return t.step, nil
}

// Ahead returns what Undo and Redo would do; nil where they would do nothing.
func (s *Shoot) Ahead() (undo, redo *shoot.Step, err error) {
	err = s.read("read the steps", func(tx *sql.Tx) error {
		u, err := readTurn(tx, behind)
		if err != nil {
			return err
		}
		r, err := readTurn(tx, ahead)
		undo, redo = u.step, r.step
		return err
	})
	if err != nil {
		return nil, nil, err
	}
	return undo, redo, nil
}

// Keep lays a document down under a name, in place of what was there; nil takes
// it away.
func (s *Shoot) Keep(name string, b []byte) error {
	return s.write("keep "+name, func(tx *sql.Tx) (bool, error) {
		var done sql.Result
		var err error
		if b == nil {
			done, err = tx.Exec("DELETE FROM kept WHERE name = ?", name)
		} else {
			done, err = tx.Exec("INSERT INTO kept (name, content) VALUES (?, ?) ON CONFLICT DO UPDATE SET content = excluded.content WHERE content <> excluded.content", name, b)
		}
		if err != nil {
			return false, err
		}
		n, err := done.RowsAffected()
		return n > 0, err
	})
}

// Kept returns the document under a name, or nil where there is none.
func (s *Shoot) Kept(name string) (b []byte, err error) {
	err = s.read("read "+name, func(tx *sql.Tx) error {
		err := tx.QueryRow("SELECT content FROM kept WHERE name = ?", name).Scan(&b)
		if err == nil && b == nil {
			b = []byte{}
		}
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		return err
	})
	return b, err
}
