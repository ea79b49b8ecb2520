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

// A Said is a word that becomes what is said of a clip, with a label for people.
type Said struct {
	Clip  string
	Word  shoot.Word
	Label string
}

// Say makes w what is said of a clip, in place of what was: SayAll of one.
func (s *Shoot) Say(clip string, w shoot.Word, label string) error {
	return s.SayAll([]Said{{clip, w, label}})
}

// SayAll makes words what is said of their clips, in place of what was. They are
// taken back and done again together; what was taken back before can then no
// longer be done again. To say what stands already is no step and changes
// nothing.
func (s *Shoot) SayAll(all []Said) error {
	const op = "keep what was said"
	inks := make([]inked, len(all))
	for i, w := range all {
		var err error
		if inks[i], err = ink(w.Word); err != nil { // a number that is none
			return &fault.Error{Kind: fault.Usage, Op: op, Subject: w.Clip, Err: err}
		}
	}
	return s.write(op, func(tx *sql.Tx) (bool, error) {
		var first, last sql.NullInt64
		for i, w := range all {
			id, err := step(tx, w, inks[i])
			if err != nil {
				return false, err
			}
			if !id.Valid {
				continue
			}
			if last = id; !first.Valid {
				first = id
			}
		}
		if first == last {
			return first.Valid, nil
		}
		_, err := tx.Exec("UPDATE steps SET deed = ? WHERE id BETWEEN ? AND ?", first, first, last)
		return true, err
	})
}

// step says one thing and returns its step's id, not Valid where it stood already.
func step(tx *sql.Tx, w Said, after inked) (id sql.NullInt64, err error) {
	var before inked
	err = tx.QueryRow("SELECT word FROM words WHERE clip = ?", w.Clip).Scan(&before)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return id, err
	}
	if before == after {
		return id, nil
	}
	if err := lay(tx, w.Clip, after); err != nil {
		return id, err
	}
	done, err := tx.Exec("INSERT INTO steps (parent, clip, label, before, after) SELECT here, ?, ?, ?, ? FROM shoot", w.Clip, w.Label, before, after)
	if err != nil {
		return id, err
	}
	if id.Int64, err = done.LastInsertId(); err != nil {
		return id, err
	}
	id.Valid = true
	_, err = tx.Exec("UPDATE shoot SET here = ?", id)
	return id, err
}

// What Undo and Redo would do: the step, the word it leads to, the step that then
// stands, the first of those it was done with, and of how many other clips those
// are.
const (
	behind = "SELECT clip, label, before, parent, deed, " + others + " FROM steps AS s WHERE id = (SELECT here FROM shoot)"
	ahead  = "SELECT clip, label, after, id, deed, " + others + " FROM steps AS s WHERE parent IS (SELECT here FROM shoot) ORDER BY id DESC LIMIT 1"
	others = "(SELECT count(DISTINCT clip) FROM steps WHERE deed = s.deed AND clip <> s.clip)"
)

// A turn is a step to be taken back or done again.
type turn struct {
	step *shoot.Step // nil: there is none
	word inked
	here sql.NullInt64
	deed sql.NullInt64
}

func readTurn(tx *sql.Tx, query string) (turn, error) {
	t := turn{step: &shoot.Step{}}
	err := tx.QueryRow(query).Scan(&t.step.Clip, &t.step.Label, &t.word, &t.here, &t.deed, &t.step.More)
	if errors.Is(err, sql.ErrNoRows) {
		return turn{}, nil
	}
	return t, err
}

// Undo takes the last step back, with all that were done together with it, and
// returns it; nil where there is none.
func (s *Shoot) Undo() (*shoot.Step, error) { return s.turn("take a step back", behind) }

// Redo does the step again that was last taken back, with all that were done
// together with it, and returns it; nil where there is none.
func (s *Shoot) Redo() (*shoot.Step, error) { return s.turn("do a step again", ahead) }

func (s *Shoot) turn(op, query string) (first *shoot.Step, err error) {
	err = s.write(op, func(tx *sql.Tx) (bool, error) {
		var deed sql.NullInt64
		for first = nil; ; {
			t, err := readTurn(tx, query)
			if err != nil || t.step == nil || (first != nil && t.deed != deed) {
				return first != nil, err
			}
			if err := lay(tx, t.step.Clip, t.word); err != nil {
				return false, err
			}
			if _, err := tx.Exec("UPDATE shoot SET here = ?", t.here); err != nil {
				return false, err
			}
			if first == nil {
				first, deed = t.step, t.deed
			}
			if !deed.Valid {
				return true, nil
			}
		}
	})
	if err != nil {
		return nil, err
	}
	return first, nil
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
