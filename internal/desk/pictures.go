package desk

import (
	"context"
	"errors"
	"sync"
	"time"

	"earshot/internal/app"
	"earshot/internal/media"
)

// pictures keeps the engine from being asked for more pictures at once than it
// makes sense to, and for the same small copy twice.
type pictures struct {
	app  *app.App
	turn chan struct{} // who may ask the engine
	mu   sync.Mutex
	made map[string]*making
}

// making is a small copy being made, for everyone who waits for it; one that
// failed is kept until somebody was told.
type making struct {
	done chan struct{}
	path string
	err  error
}

// atOnce is how many pictures are asked for at once.
const atOnce = 2

// patience is how long whoever asks for a small copy waits: one that is there is
// found within it.
const patience = 300 * time.Millisecond

// ErrMaking says that a small copy is being made: ask again.
var ErrMaking = errors.New("the small copy is being made")

func newPictures(a *app.App) *pictures {
	return &pictures{app: a, turn: make(chan struct{}, atOnce), made: map[string]*making{}}
}

// wait waits for a turn; done must be called after.
func (p *pictures) wait(ctx context.Context) (done func(), err error) {
	select {
	case p.turn <- struct{}{}:
		return func() { <-p.turn }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// small returns the path of a clip's small copy, or begins to make it and
// returns ErrMaking. Making goes on while alive lasts.
func (p *pictures) small(ctx, alive context.Context, path string) (string, error) {
	p.mu.Lock()
	m := p.made[path]
	if m == nil {
		m = &making{done: make(chan struct{})}
		p.made[path] = m
		go func() {
			m.path, m.err = p.app.SmallPicture(alive, path)
			if m.err == nil {
				p.forget(path) // the next one finds it on the disk
			}
			close(m.done)
		}()
	}
	p.mu.Unlock()
	select {
	case <-m.done:
		if m.err != nil {
			p.forget(path) // the next one tries again
		}
		return m.path, m.err
	case <-time.After(patience):
		return "", ErrMaking
	case <-ctx.Done():
		return "", ctx.Err()
	}
}

func (p *pictures) forget(path string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.made, path)
}

// Still is the frame of a clip that shows at a moment, as JPEG.
func (d *Desk) Still(ctx context.Context, id string, at float64, width int) ([]byte, error) {
	r, done, err := d.turnFor(ctx, id)
	if err != nil {
		return nil, err
	}
	defer done()
	return d.app.Still(ctx, r, at, width)
}

// turnFor finds a recording and waits for a turn to ask for its pictures; done
// must be called after.
func (d *Desk) turnFor(ctx context.Context, id string) (r *app.Recording, done func(), err error) {
	if r, err = d.recording(ctx, id); err == nil {
		done, err = d.pictures.wait(ctx)
	}
	return r, done, err
}

// Strip is n true frames around a moment.
func (d *Desk) Strip(ctx context.Context, id string, at float64, n, width int) (*Strip, error) {
	r, done, err := d.turnFor(ctx, id)
	if err != nil {
		return nil, err
	}
	defer done()
	stills, err := d.app.Strip(ctx, r, media.Stills{At: at, Before: n / 2, After: n - 1 - n/2, Width: width})
	if err != nil {
		return nil, err
	}
	out := &Strip{Frames: []Frame{}, Middle: -1}
	for i, s := range stills {
		out.Frames = append(out.Frames, Frame{At: s.At, Until: s.Until, JPEG: s.JPEG})
		if s.Shows {
			out.Middle = i
		}
	}
	return out, nil
}

// Picture is the path of a small copy of a clip's picture; where there is none
// yet it is begun, and the error is ErrMaking.
func (d *Desk) Picture(ctx context.Context, id string) (string, error) {
	path, err := d.File(id)
	if err != nil {
		return "", err
	}
	return d.pictures.small(ctx, d.alive, path)
}

// MarriedPicture is the same of a finished clip.
func (d *Desk) MarriedPicture(ctx context.Context, take string) (string, error) {
	path, err := d.Married(take)
	if err != nil {
		return "", err
	}
	return d.pictures.small(ctx, d.alive, path)
}

// prepare makes ahead what will be looked at of a measured day: the waves of all
// takes.
func (d *Desk) prepare(ctx context.Context) {
	for _, c := range d.lookedAt().Choices(d.said()) {
		laid := c.Laid()
		_, _, err1 := d.app.Peaks(ctx, laid.Clip, laid.ClipTrack, 0, 0, 1)
		_, _, err2 := d.app.Peaks(ctx, laid.Sound, laid.SoundTrack, 0, 0, 1)
		if ctx.Err() != nil || errors.Join(err1, err2) != nil {
			return // asked for again when it is looked at, and the error is told then
		}
	}
}
