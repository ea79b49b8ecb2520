package desk

import (
	"context"
	"errors"
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
	d.mu.Lock()
	was := d.words[take]
	is := c.Over(was)
	if sameWord(was, is) {
		d.mu.Unlock()
		return d.shownTake(take), nil
	}
	label := shoot.Label(was, is, d.line(take))
	err := d.store.Say(take, is, label)
	if err == nil {
		d.words = withWord(d.words, take, is)
	}
	d.mu.Unlock()
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

// withWord is a copy of words with one of them replaced: others may be reading
// the old ones.
func withWord(words map[string]shoot.Word, id string, w shoot.Word) map[string]shoot.Word {
	out := make(map[string]shoot.Word, len(words)+1)
	for k, v := range words {
		out[k] = v
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

func (d *Desk) turn(do func() (*shoot.Step, error)) (*shoot.Step, error) {
	step, err := do()
	if err != nil || step == nil {
		return step, err
	}
	d.mu.Lock()
	was := d.words[step.Clip]
	words, err := d.store.Words()
	if err == nil {
		d.words = words
	}
	is := words[step.Clip]
	d.mu.Unlock()
	if err == nil {
		err = d.showHistory()
	}
	if err != nil {
		return step, err
	}
	d.showTake(step.Clip)
	if !slices.Equal(was.Refused, is.Refused) {
		d.measureAgain()
	}
	return step, nil
}
