package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/fault"
	"earshot/internal/media"
)

// A score is the finished sound of one clip, laid out: which voice plays when.
type score struct {
	parts    []part
	good     *voice
	channels int
}

// score lays the good sound out over the clip, and fills what it does not
// cover.
func (m *marriage) score(ctx context.Context, w *wedding) (*score, error) {
	t := w.take
	if err := lastsAsSaid(t.clip); err != nil {
		return nil, err
	}
	s := &score{channels: t.sound.info.Sounds[t.link.SoundTrack].Channels}
	lines := m.lines(w, s.channels)
	s.good = lines[0].voice
	total := frames(clipLength(t.clip.info))
	soundLen := float64(t.sound.tracks[t.link.SoundTrack].Samples) / dsp.ProxyRate
	a, b, ok := reached(lines, clipLength(t.clip.info), soundLen)
	if !ok {
		return nil, &fault.Error{Kind: fault.Unreadable, Op: "lay the sound under", Subject: t.clip.path,
			Err:  fmt.Errorf("the sound covers only %.2f s of it", float64(max(0, b-a))/clipRate),
			Hint: "the camera's own sound is all there is for it; use the clip as it is"}
	}
	w.out.Fills, w.made.good = nil, stretch{}
	if a > 0 || b < total {
		w.made.good = playsAlone(a, b, total)
	}
	var err error
	s.parts, err = filled(laidBetween(lines, a, b), total, func(from, to int64) (*voice, error) {
		fill, v, err := m.fill(ctx, w, s, [2]int64{from, to})
		w.out.Fills = append(w.out.Fills, fill)
		return v, err
	})
	return s, err
}

// reached is the stretch, in frames, of a clip so many seconds long that lines
// cover with a sound of soundLen seconds; ok is false where that is too little.
func reached(lines []part, length, soundLen float64) (a, b int64, ok bool) {
	total := frames(length)
	from, _ := lines[0].voice.lie.Covered(length, soundLen)
	_, to := lines[len(lines)-1].voice.lie.Covered(length, soundLen)
	a, b = min(total, frames(from)), min(total, frames(to))
	if b-a < 4*fadeLength {
		return a, b, false
	}
	if a <= fadeLength/4 { // a few ms short of the clip's ends are no gap
		a = 0
	}
	if total-b <= fadeLength/4 {
		b = total
	}
	return a, b, true
}

// filled are parts with what plays between them, up to frame total.
func filled(laid []part, total int64, fill func(from, to int64) (*voice, error)) (parts []part, err error) {
	at := int64(0)
	for _, p := range append(laid, part{from: total, to: total}) {
		if p.from > at {
			v, err := fill(at, p.from)
			if err != nil {
				return nil, err
			}
			parts = append(parts, part{at, p.from, v})
		}
		if p.to > p.from {
			parts = append(parts, p)
		}
		at = p.to
	}
	return parts, nil
}

// lines gives every span of the take a voice of its own, and where it plays.
func (m *marriage) lines(w *wedding, channels int) []part {
	t := w.take
	spans := t.found.Spans
	if len(spans) == 0 {
		spans = []align.Span{{From: t.found.From, To: t.found.To, Alignment: t.found.Alignment}}
	}
	var out []part
	for _, s := range spans {
		lie := s.Alignment
		lie.Offset += (1 + lie.Drift) * w.made.earlier
		v := &voice{app: m.app, rec: t.sound, track: t.link.SoundTrack, lie: lie, channels: channels, gain: 1, good: true}
		out = append(out, part{frames(s.From - w.made.earlier), frames(s.To - w.made.earlier), v})
	}
	return out
}

// laidBetween lets lines play from frame a to frame b. Where the recorder lost
// no more than a fade takes, one goes over into the next halfway. A line too
// short for its fades leaves its time to a fill, or at the ends to the next.
func laidBetween(lines []part, a, b int64) []part {
	var out []part
	for i, p := range lines {
		if i == 0 {
			p.from = a
		}
		if i == len(lines)-1 {
			p.to = b
		}
		p.from, p.to = max(a, p.from), min(b, p.to)
		n := len(out) - 1
		switch {
		case p.to-p.from < 4*fadeLength:
			continue
		case n >= 0 && p.from-out[n].to <= fadeLength:
			half := (out[n].to + p.from) / 2
			out[n].to, p.from = half, half
		}
		out = append(out, p)
	}
	if n := len(out) - 1; n >= 0 {
		out[0].from, out[n].to = a, b
	}
	return out
}

// playsAlone is the stretch of a clip of total frames, the good sound covering those
// from a to b, in which it plays without the crossfades at its ends.
func playsAlone(a, b, total int64) stretch {
	if a > 0 {
		a += fadeLength
	}
	if b < total {
		b -= fadeLength
	}
	return stretch{float64(a) / clipRate, float64(b) / clipRate}
}

// lastsAsSaid refuses a clip whose header claims a picture far longer than its
// own sound turned out to be: filling it up could fill the disk.
func lastsAsSaid(clip *recording) error {
	const sane, times = 600, 10 // seconds; times the clip's sound
	said, heard := clipLength(clip.info), 0.0
	for _, t := range clip.tracks {
		heard = math.Max(heard, float64(t.Samples)/dsp.ProxyRate)
	}
	if said <= math.Max(sane, times*heard) {
		return nil
	}
	return &fault.Error{Kind: fault.Unreadable, Op: "lay the sound under", Subject: clip.path,
		Err:  fmt.Errorf("it says that its picture lasts %.0f s, and holds %.0f s of sound", said, heard),
		Hint: "its header may be damaged; copy it from the card again"}
}

// fill decides what plays in a gap: the scratch at the good sound's level, or
// silence.
func (m *marriage) fill(ctx context.Context, w *wedding, s *score, gap [2]int64) (Fill, *voice, error) {
	t := w.take
	f := Fill{From: float64(gap[0]) / clipRate, To: float64(gap[1]) / clipRate, With: "silence"}
	f.Code = timecodeAt(t.clip.info, f.From)
	if m.opt.Gaps == "silence" || len(t.clip.tracks) == 0 {
		return f, nil, nil
	}
	f.With = "scratch"
	scratch, good := side{t.clip, t.link.ClipTrack}, side{t.sound, t.link.SoundTrack}
	err := m.app.withProxies(ctx, scratch, good, func(scratch, good *proxy) (err error) {
		f.Gain, err = levelMatch(scratch, good, &t.found)
		return err
	})
	if err != nil {
		return f, nil, err
	}
	v := &voice{app: m.app, rec: t.clip, track: t.link.ClipTrack, lie: align.Alignment{}, channels: s.channels, gain: 1}
	if f.Gain, err = headroom(ctx, v, max(0, gap[0]-fadeLength), gap[1]+fadeLength, f.Gain); err != nil {
		return f, nil, err
	}
	v.gain = float32(dsp.Gain(f.Gain))
	return f, v, nil
}

func frames(seconds float64) int64 { return int64(math.Round(math.Max(0, seconds) * clipRate)) }

// clipLength is how long the picture lasts, in seconds from the clip's zero.
func clipLength(info media.Info) float64 {
	var d float64
	for _, p := range info.Pictures {
		if p.Duration > 0 {
			d = math.Max(d, p.Start+p.Duration)
		}
	}
	if d == 0 {
		d = info.Duration
	}
	return d
}

// render writes a plan with the sound of a score.
func (a *App) render(ctx context.Context, plan media.Plan, s *score) error {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	r, w := io.Pipe()
	played := make(chan error, 1)
	go func() {
		c := &composer{out: littleEndian(w), channels: s.channels}
		err := guarded(plan.Clip, func() error { return c.run(ctx, s.parts) })
		w.CloseWithError(err) // nil ends the sound
		if err != nil && !errors.Is(err, io.ErrClosedPipe) {
			stop(err)
		}
		played <- err
	}()
	err := a.Engine.Render(ctx, plan, r)
	r.CloseWithError(io.ErrClosedPipe)
	perr := <-played
	if perr != nil && !errors.Is(perr, io.ErrClosedPipe) && !errors.Is(perr, context.Canceled) {
		err = perr // the sound broke off: that is why the engine failed
	}
	if err != nil {
		removePart(plan.Out)
	}
	return err
}

func removePart(path string) { os.Remove(path) }
