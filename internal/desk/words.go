package desk

import (
	"context"
	"errors"
	"maps"
	"slices"

	"earshot/internal/fault"
	"earshot/internal/shoot"
)

// Say keeps what a person says anew of a clip, and returns its take, nil where
// it has none then. Once it returns the word is on the disk.
func (d *Desk) Say(_ context.Context, take string, c Change) (*Take, error) {
	rec, ok := d.board.recording(take)
	if !ok {
		return nil, unknown("clip", take)
	}
	if err := d.sayable(rec, c); err != nil {
		return nil, err
	}
	was, is, err := d.keep(take, c)
	if err != nil {
		return nil, err
	}
	if err := d.showHistory(); err != nil {
		return nil, err
	}
	d.showTake(take)
	if !slices.Equal(was.Refused, is.Refused) {
		d.measureAgain() // with that out of the way something else may fit
	}
	return d.shownTake(take), nil
}

// keep puts what a person says anew of a clip into the store.
func (d *Desk) keep(take string, c Change) (was, is shoot.Word, err error) {
	d.saying.Lock()
	defer d.saying.Unlock()
	words := d.said()
	was = words[take]
	if is = c.Over(was); sameWord(was, is) {
		return was, is, nil
	}
	if err := d.store.Say(take, is, shoot.Label(was, is, d.line(take))); err != nil {
		return was, is, err
	}
	d.setWords(withWord(words, take, is))
	return was, is, nil
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

// withWord is a copy of words with one of them replaced: others may be reading
// the old ones.
func withWord(words map[string]shoot.Word, id string, w shoot.Word) map[string]shoot.Word {
	out := maps.Clone(words)
	if out == nil {
		out = map[string]shoot.Word{}
	}
	if out[id] = w; w.Empty() {
		delete(out, id)
	}
	return out
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
	if err == nil {
		err = d.showHistory()
	}
	if err != nil || step == nil {
		return step, err
	}
	d.showTake(step.Clip)
	if !slices.Equal(was[step.Clip].Refused, is[step.Clip].Refused) {
		d.measureAgain()
	}
	return step, nil
}
