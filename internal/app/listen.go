package app

import (
	"context"
	"errors"
	"sync"

	"earshot/internal/fault"
)

const opListen = "listen to"

// listenBlock is how many frames Listen delivers at a time, at most.
const listenBlock = 4096

// Listen delivers both microphones on the clip's clock at 48000 Hz, from frame
// from to frame to, excluded; to 0 and what is beyond it is the clip's end.
// Blocks are interleaved stereo: left the body, as the finished clip has it, all
// its channels mixed to one; right the scratch, likewise. Where a side has
// nothing there is silence. A block is only valid during the call of fn, an
// error of fn ends it and is returned as it is.
//
// The two are decoded side by side, some tenths of a second ahead of fn, which
// may take its time. Beginning at a frame gives what playing from the start
// gives there, but for rounding 120 dB below full scale.
func (a *App) Listen(ctx context.Context, l Laid, from, to int64, fn func(block []float32) error) error {
	if err := l.check(opListen); err != nil {
		return err
	}
	return a.listen(ctx, l, a.body(l), from, to, fn)
}

// ListenAlone is Listen of a clip that no sound is laid under: left is silence.
func (a *App) ListenAlone(ctx context.Context, clip *Recording, track int, from, to int64, fn func(block []float32) error) error {
	if err := clip.holds(opListen, track); err != nil {
		return err
	}
	l := Laid{Clip: clip, ClipTrack: track}
	return a.listen(ctx, l, []part{{to: l.frames()}}, from, to, fn)
}

// listen is Listen with the body laid out already.
func (a *App) listen(ctx context.Context, l Laid, body []part, from, to int64, fn func(block []float32) error) error {
	if from < 0 || to < 0 {
		return senseless(opListen, l.Clip.Path(), "frames %d to %d", from, to)
	}
	if total := l.frames(); to == 0 || to > total {
		to = total
	}
	if from >= to {
		return nil
	}
	ctx, stop := context.WithCancel(ctx)
	var group sync.WaitGroup
	defer group.Wait()
	defer stop()
	good := l.Clip.Path() // silence along it, where no sound is laid
	if l.Sound != nil {
		good = l.Sound.Path()
	}
	left := startFeed(ctx, &group, good, func(out func([]float32) error) error {
		parts, skip := cutOut(body, from, to)
		c := &composer{out: skipping(skip, out), channels: 1}
		return c.run(ctx, parts)
	})
	right := startFeed(ctx, &group, l.Clip.Path(), func(out func([]float32) error) error {
		v, end := a.scratch(l)
		if v == nil || from >= end {
			return quiet(to-from, 1, out)
		}
		return v.play(ctx, from, to, out)
	})
	return interleave(ctx, left, right, to-from, fn)
}

// interleave delivers so many frames of two feeds.
func interleave(ctx context.Context, left, right *feed, frames int64, fn func(block []float32) error) error {
	both := make([]float32, 2*listenBlock)
	for frames > 0 {
		for _, f := range []*feed{left, right} {
			if err := f.fill(ctx); err != nil {
				return err
			}
		}
		n := min(len(left.rest), len(right.rest), int(min(frames, listenBlock)))
		for i := range n {
			both[2*i], both[2*i+1] = left.rest[i], right.rest[i]
		}
		left.rest, right.rest = left.rest[n:], right.rest[n:]
		frames -= int64(n)
		if err := fn(both[:2*n]); err != nil {
			return err
		}
	}
	return nil
}

// skipping drops the first n samples.
func skipping(n int64, out func([]float32) error) func([]float32) error {
	return func(block []float32) error {
		k := min(n, int64(len(block)))
		n -= k
		if block = block[k:]; len(block) == 0 {
			return nil
		}
		return out(block)
	}
}

// A feed is one side that is played ahead of whoever listens.
type feed struct {
	blocks  chan []float32 // closed at its end
	err     error          // why it ended; to be read when blocks is closed
	rest    []float32      // taken and not used yet
	subject string
}

// ahead is how many blocks a feed holds.
const ahead = 8

// startFeed begins to play subject in a goroutine of the group.
func startFeed(ctx context.Context, group *sync.WaitGroup, subject string, play func(out func([]float32) error) error) *feed {
	f := &feed{blocks: make(chan []float32, ahead), subject: subject}
	group.Go(func() {
		defer close(f.blocks)
		f.err = guarded(subject, func() error {
			return play(func(block []float32) error {
				select {
				case f.blocks <- append([]float32(nil), block...):
					return nil
				case <-ctx.Done():
					return ctx.Err()
				}
			})
		})
	})
	return f
}

// fill sees that there is something in rest.
func (f *feed) fill(ctx context.Context) error {
	for len(f.rest) == 0 {
		select {
		case block, more := <-f.blocks:
			switch {
			case more:
				f.rest = block
			case f.err != nil:
				return f.err
			default:
				return &fault.Error{Kind: fault.Internal, Op: opListen, Subject: f.subject,
					Err: errors.New("it ended before its time"), Hint: "please report this, with what earshot doctor says"}
			}
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil
}
