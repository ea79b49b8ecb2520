package app

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"

	"earshot/internal/dsp"
)

// What Loudness listens to of a long take: pieces spread evenly over it.
const (
	loudPieces = 24
	loudPiece  = 6 * clipRate // frames
)

// Loudness is the integrated loudness of both microphones in LUFS (ITU-R
// BS.1770-5 with the gates of EBU R 128) over what both cover, each as Listen
// delivers it: one channel. -Inf is silence, or nothing that both cover. whole
// is false where the take is so long that only some of it was measured: then
// LoudnessOfAll says it of all. What was measured is kept.
//
// Sixteen pieces of ten seconds tell the loudness of an hour's talk to within a
// decibel at worst, two thirds of that usually less than 0.3 LU: see
// TestLoudnessOfSome.
func (a *App) Loudness(ctx context.Context, l Laid) (body, scratch float64, whole bool, err error) {
	return a.loudness(ctx, l, false)
}

// LoudnessOfAll is Loudness of all that both cover, however long that takes.
func (a *App) LoudnessOfAll(ctx context.Context, l Laid) (body, scratch float64, err error) {
	body, scratch, _, err = a.loudness(ctx, l, true)
	return body, scratch, err
}

// loud is what the cache keeps with a sound of how loud it and a clip are.
type loud struct {
	Body, Scratch *float64 // nil: silence
	Whole         bool
}

func (a *App) loudness(ctx context.Context, l Laid, all bool) (body, scratch float64, whole bool, err error) {
	if err := l.check("measure the loudness of"); err != nil {
		return 0, 0, false, err
	}
	var kept loud
	name := l.loudName()
	err = a.turns.take(ctx, name+string(l.Sound.rec.id), func() error {
		if a.Cache.Load(l.Sound.rec.id, name, &kept) && (kept.Whole || !all) {
			return nil
		}
		if kept, err = a.measureLoudness(ctx, l, all); err != nil {
			return err
		}
		return a.Cache.Save(l.Sound.rec.id, name, kept)
	})
	return orSilence(kept.Body), orSilence(kept.Scratch), kept.Whole, err
}

func orSilence(v *float64) float64 {
	if v == nil {
		return math.Inf(-1)
	}
	return *v
}

// loudName is where the loudness of both sides is kept with the sound: by the
// clip, and by where it lies to a hundredth of a second, which changes no
// loudness.
func (l Laid) loudName() string {
	text := fmt.Sprintf("1|%s|%d|%d", l.Clip.rec.id, l.ClipTrack, l.SoundTrack)
	for _, s := range l.Spans {
		text += fmt.Sprintf("|%.2f|%.2f|%.2f|%.0f", s.Clip[0], s.Clip[1], s.Offset, s.Drift)
	}
	sum := sha256.Sum256([]byte(text))
	return "loudness-" + hex.EncodeToString(sum[:8]) + ".json"
}

// measureLoudness listens to what both cover, or to some of it.
func (a *App) measureLoudness(ctx context.Context, l Laid, all bool) (loud, error) {
	body := a.body(l)
	stretches := a.bothCover(l, body)
	whole := true
	if !all {
		stretches, whole = spreadOver(stretches, loudPieces, loudPiece)
	}
	left, err := dsp.NewLoudness(clipRate, 1)
	if err != nil {
		return loud{}, err
	}
	right, err := dsp.NewLoudness(clipRate, 1)
	if err != nil {
		return loud{}, err
	}
	var x, y []float32
	for _, s := range stretches {
		err := a.listen(ctx, l, body, s[0], s[1], func(block []float32) error {
			x, y = x[:0], y[:0]
			for i := 0; i < len(block); i += 2 {
				x, y = append(x, block[i]), append(y, block[i+1])
			}
			left.Write(x)
			right.Write(y)
			return nil
		})
		if err != nil {
			return loud{}, err
		}
		left.Break()
		right.Break()
	}
	return loud{Body: audible(left), Scratch: audible(right), Whole: whole}, nil
}

// audible is a loudness, nil where it is silence.
func audible(l *dsp.Loudness) *float64 {
	v := l.Integrated()
	if math.IsInf(v, -1) {
		return nil
	}
	return &v
}

// bothCover lists the stretches, in frames, in which both sides have sound, or
// the body where the clip has none at all.
func (a *App) bothCover(l Laid, body []part) (out [][2]int64) {
	v, end := a.scratch(l)
	if v == nil {
		end = l.frames()
	}
	for _, p := range body {
		if from, to := p.from, min(p.to, end); p.voice != nil && to > from {
			out = append(out, [2]int64{from, to})
		}
	}
	return out
}

// spreadOver takes pieces of a length out of stretches, evenly spread; whole is
// true where that would be all of them.
func spreadOver(stretches [][2]int64, pieces, length int64) (out [][2]int64, whole bool) {
	var total int64
	for _, s := range stretches {
		total += s[1] - s[0]
	}
	if total <= pieces*length {
		return stretches, true
	}
	for k := range pieces {
		from := (total*(2*k+1)/pieces - length) / 2 // the piece lies in the middle of its share
		to := from + length
		for _, s := range stretches { // as if they lay end to end
			n := s[1] - s[0]
			if lo, hi := max(0, from), min(n, to); hi > lo {
				out = append(out, [2]int64{s[0] + lo, s[0] + hi})
			}
			from, to = from-n, to-n
		}
	}
	return out, false
}
