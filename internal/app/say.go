package app

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"

	"earshot/internal/fault"
	"earshot/internal/shoot"
	"earshot/internal/store"
)

// SayOptions keeps what a person says of clips, as they may on the desk.
type SayOptions struct {
	Paths []string // the shoot's files and folders
	Shoot string   // folder that keeps its words; made when missing
	Say   []Saying
	Undo  int // steps to take back first
	Redo  int // steps to do again first
}

// A Saying is one thing said of one clip. Sounds in the change are paths.
type Saying struct {
	Clip   string // path
	Change shoot.Change
}

// Say keeps words and returns, in words, what was done.
func (a *App) Say(ctx context.Context, opt SayOptions) (done []string, err error) {
	if len(opt.Say)+opt.Undo+opt.Redo == 0 {
		return nil, nil
	}
	g, err := gather(ctx, opt.Paths, "")
	if err != nil {
		return nil, err
	}
	keys, err := keysOf(ctx, g.files)
	if err != nil {
		return nil, err
	}
	s, err := store.OpenShoot(opt.Shoot)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	if done, err = keys.turn(s, opt); err != nil {
		return done, err
	}
	for _, say := range opt.Say {
		line, err := keys.say(s, say)
		if err != nil {
			return done, err
		}
		done = append(done, line)
	}
	return done, nil
}

// turn takes steps back and does others again.
func (k keys) turn(s *store.Shoot, opt SayOptions) (done []string, err error) {
	for _, turn := range []struct {
		times int
		do    func() (*shoot.Step, error)
		word  string
	}{{opt.Undo, s.Undo, "taken back: "}, {opt.Redo, s.Redo, "done again: "}} {
		for range turn.times {
			step, err := turn.do()
			if err != nil {
				return done, err
			}
			if step == nil {
				break
			}
			line := fault.Quote(k.pathOf(step.Clip)) + ": " + turn.word + step.Label
			if step.More > 0 {
				line += fmt.Sprintf(", with %d more", step.More)
			}
			done = append(done, line)
		}
	}
	return done, nil
}

// pathOf is the name of the recording of a key, or the key where it is not
// there.
func (k keys) pathOf(key string) string {
	for path, have := range k {
		if have == key {
			return filepath.Base(path)
		}
	}
	return key
}

// say keeps one saying.
func (k keys) say(s *store.Shoot, say Saying) (string, error) {
	refuse := func(why string) error {
		return &fault.Error{Kind: fault.Usage, Op: "keep what was said of", Subject: say.Clip, Err: errors.New(why), Hint: "name a clip of the shoot, by its path or its name"}
	}
	if why := say.Change.Wrong(); why != "" {
		return "", refuse(why)
	}
	clip, err := k.find(say.Clip)
	if err != nil {
		return "", err
	}
	words, err := s.Words()
	if err != nil {
		return "", err
	}
	was := words[clip]
	change := say.Change
	if change.Sound != nil && *change.Sound != "" {
		sound, err := k.find(*change.Sound)
		if err != nil {
			return "", err
		}
		change.Sound = &sound
	}
	if change.Refused != nil {
		refused := append([]string{}, was.Refused...)
		for _, path := range *change.Refused {
			sound, err := k.find(path)
			if err != nil {
				return "", err
			}
			if !was.Refuses(sound) {
				refused = append(refused, sound)
			}
		}
		change.Refused = &refused
	}
	is := change.Over(was)
	label := shoot.Label(was, is, nil)
	return fault.Quote(filepath.Base(say.Clip)) + ": " + label, s.Say(clip, is, label)
}

// find is the key of a recording of the shoot, by its path or its name.
func (k keys) find(name string) (string, error) {
	var found []string
	for path, key := range k {
		if samePath(path, name) {
			return key, nil
		}
		if filepath.Base(path) == name {
			found = append(found, key)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return "", &fault.Error{Kind: fault.Usage, Op: "look for", Subject: name, Err: errors.New("no recording of the shoot has that name"), Hint: "name it by its path"}
	}
	return "", &fault.Error{Kind: fault.Usage, Op: "look for", Subject: name, Err: errors.New("several recordings have that name"), Hint: "name it by its path"}
}
