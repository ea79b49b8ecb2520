package desk

import (
	"context"
	"encoding/json"
	"errors"
	"maps"
	"slices"

	"earshot/internal/fault"
	"earshot/internal/shoot"
	"earshot/internal/store"
)

// A Saying is what a person says anew of a clip.
type Saying struct {
	Take   string
	Change Change
}

// Say keeps what a person says anew of a clip, and returns its take, nil where
// it has none then. Once it returns the word is on the disk.
func (d *Desk) Say(ctx context.Context, take string, c Change) (*Take, error) {
	if err := d.SayAll(ctx, []Saying{{take, c}}); err != nil {
		return nil, err
	}
	return d.shownTake(take), nil
}

// SayAll keeps what a person says anew of several clips: all of it or, where some
// of it makes no sense, nothing. It is undone in one. Once it returns it is on
// the disk.
func (d *Desk) SayAll(_ context.Context, all []Saying) error {
	for _, s := range all {
		rec, ok := d.board.recording(s.Take)
		if !ok {
			return unknown("clip", s.Take)
		}
		if err := d.sayable(rec, s.Change); err != nil {
			return err
		}
	}
	was, is, err := d.keep(all)
	if err != nil {
		return err
	}
	return d.showWords(was, is)
}

// keep puts what a person says anew of clips into the store, and returns the
// words before and after.
func (d *Desk) keep(all []Saying) (was, is map[string]shoot.Word, err error) {
	d.saying.Lock()
	defer d.saying.Unlock()
	was = d.said()
	is = maps.Clone(was) // others may be reading the old ones
	if is == nil {
		is = map[string]shoot.Word{}
	}
	var said []store.Said
	for _, s := range all {
		before := is[s.Take]
		after := s.Change.Over(before)
		if sameWord(before, after) {
			continue
		}
		said = append(said, store.Said{Clip: s.Take, Word: after, Label: shoot.Label(before, after, d.line(s.Take))})
		if is[s.Take] = after; after.Empty() {
			delete(is, s.Take)
		}
	}
	if len(said) == 0 {
		return was, was, nil
	}
	if err := d.store.SayAll(said); err != nil {
		return nil, nil, err
	}
	d.setWords(is)
	return was, is, nil
}

// showWords shows what became of words. Where a sound was refused, or no longer
// is, all is measured again: with that out of the way something else may fit.
func (d *Desk) showWords(was, is map[string]shoot.Word) error {
	if err := d.showHistory(); err != nil {
		return err
	}
	changed := changedWords(was, is)
	d.showTakes(changed)
	if slices.ContainsFunc(changed, func(id string) bool { return !slices.Equal(was[id].Refused, is[id].Refused) }) {
		d.measureAgain()
	}
	return nil
}

// changedWords lists the clips of which something else is said.
func changedWords(was, is map[string]shoot.Word) (ids []string) {
	for id, w := range is {
		if !sameWord(was[id], w) {
			ids = append(ids, id)
		}
	}
	for id := range was {
		if _, still := is[id]; !still {
			ids = append(ids, id)
		}
	}
	return ids
}

func sameWord(a, b shoot.Word) bool {
	x, err1 := json.Marshal(a)
	y, err2 := json.Marshal(b)
	return err1 == nil && err2 == nil && string(x) == string(y)
}

// said is what a person has said, by clip. It is not to be changed.
func (d *Desk) said() map[string]shoot.Word {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.words
}

// setWords is for whoever holds d.saying.
func (d *Desk) setWords(words map[string]shoot.Word) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.words = words
}

// reread takes over the words of the store, after do has changed it, and returns
// those before and after. do may be nil.
func (d *Desk) reread(do func() error) (was, is map[string]shoot.Word, err error) {
	d.saying.Lock()
	defer d.saying.Unlock()
	if do != nil {
		if err := do(); err != nil {
			return nil, nil, err
		}
	}
	was = d.said()
	if is, err = d.store.Words(); err != nil {
		return nil, nil, err
	}
	d.setWords(is)
	return was, is, nil
}

// sayable refuses what makes no sense.
func (d *Desk) sayable(rec Recording, c Change) error {
	if rec.Kind == "sound" {
		return &fault.Error{Kind: fault.Usage, Op: "keep what was said of", Subject: rec.Name,
			Err: errors.New("it is a sound, and words are said of clips"), Hint: "choose the clip it belongs to"}
	}
	if why := c.Wrong(); why != "" {
		return &fault.Error{Kind: fault.Usage, Op: "keep what was said of", Subject: rec.Name, Err: errors.New(why), Hint: "say it otherwise"}
	}
	for _, id := range c.Sounds() {
		if s, ok := d.board.recording(id); !ok || s.Kind == "clip" {
			return unknown("sound", id)
		}
	}
	return nil
}

// line is where a take is shown to lie, nil where it is not shown.
func (d *Desk) line(take string) *shoot.Line {
	if t, ok := d.board.take(take); ok {
		return &t.Line
	}
	return nil
}

// shownTake is a take as shown, nil where there is none.
func (d *Desk) shownTake(id string) *Take {
	t, ok := d.board.take(id)
	if !ok {
		return nil
	}
	return &t
}

// Undo takes the last thing back, and returns what that was, nil where there
// is none.
func (d *Desk) Undo(context.Context) (*shoot.Step, error) { return d.turn(d.store.Undo) }

// Redo does again what was last undone.
func (d *Desk) Redo(context.Context) (*shoot.Step, error) { return d.turn(d.store.Redo) }

func (d *Desk) turn(do func() (*shoot.Step, error)) (step *shoot.Step, err error) {
	was, is, err := d.reread(func() (err error) {
		step, err = do()
		return err
	})
	if err != nil {
		return nil, err
	}
	return step, d.showWords(was, is)
}
