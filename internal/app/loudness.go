package app

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"

	"earshot/internal/align"
	"earshot/internal/dsp"
)

// What Loudness does of a long take, in frames.
const (
	loudWhole  = 180 * clipRate // a take up to so long is measured whole
	loudPieces = 12             // of a longer one, spread evenly over it
	loudPiece  = 5 * clipRate
)

// Loudness is the integrated loudness of both microphones in LUFS (ITU-R
// BS.1770-5 with the gates of EBU R 128) over what both cover, each as Listen
// delivers it: one channel. -Inf is silence, or nothing that both cover. whole
// is false where the take is so long that it was not listened to from end to
// end: then LoudnessOfAll does. What was measured is kept.
//
// A long take is measured roughly from end to end, on what is kept at
// dsp.ProxyRate, and in pieces as it is; by how much the pieces are louder than
// the same pieces measured roughly is added. Of twelve talks of an hour, whose
// level wanders by some decibels, that was off by 0.16 LU at most and by 0.06 as
// a root mean square, the pieces alone by 1.7 and 0.9 (TestLoudnessOfSome has the
// worst of them).
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
	if !all && a.Cache.Load(l.Sound.rec.id, name, &kept) { // all of it may just be being listened to
		return orSilence(kept.Body), orSilence(kept.Scratch), kept.Whole, nil
	}
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

// Covered is a stretch of a clip in which both sides have sound, in frames, and
// where the body lies in it.
type covered struct {
	from, to int64
	lie      align.Alignment
}

// measureLoudness listens to what both cover, or to some of it.
func (a *App) measureLoudness(ctx context.Context, l Laid, all bool) (loud, error) {
	body := a.body(l)
	stretches := a.bothCover(l, body)
	total := int64(0)
	for _, s := range stretches {
		total += s.to - s.from
	}
	if all || total <= loudWhole {
		v, err := a.closely(ctx, l, body, stretches)
		if err != nil {
			return loud{}, err
		}
		return loud{audible(v[0]), audible(v[1]), true}, nil
	}
	pieces := spreadOver(stretches, total, loudPieces, loudPiece)
	some, err := a.closely(ctx, l, body, pieces)
	if err != nil {
		return loud{}, err
	}
	var v [2]float64
	for n, s := range []side{{l.Sound.rec, l.SoundTrack}, {l.Clip.rec, l.ClipTrack}} {
		if v[n] = some[n]; s.track < 0 {
			continue
		}
		whole, err := a.roughly(ctx, s, n == 0, stretches)
		if err != nil {
			return loud{}, err
		}
		part, err := a.roughly(ctx, s, n == 0, pieces)
		if err != nil {
			return loud{}, err
		}
		v[n] = refined(whole, part, some[n])
	}
	return loud{audible(v[0]), audible(v[1]), false}, nil
}

// refined is a loudness measured roughly, with what pieces of it show to be
// missing; pieces that are silent show nothing.
func refined(whole, part, exact float64) float64 {
	if math.IsInf(part, -1) || math.IsInf(exact, -1) || math.IsInf(whole, -1) {
		return math.Max(whole, exact)
	}
	return whole + exact - part
}

// closely is the loudness of both sides in stretches, the body's first, as Listen
// delivers them.
func (a *App) closely(ctx context.Context, l Laid, body []part, stretches []covered) (v [2]float64, err error) {
	var sides [2]*dsp.Loudness
	for n := range sides {
		if sides[n], err = dsp.NewLoudness(clipRate, 1); err != nil {
			return v, err
		}
	}
	var mono [listenBlock]float32
	for _, s := range stretches {
		err := a.listen(ctx, l, body, s.from, s.to, func(block []float32) error {
			for n := range sides {
				for i := range len(block) / 2 {
					mono[i] = block[2*i+n]
				}
				sides[n].Write(mono[:len(block)/2])
			}
			return nil
		})
		if err != nil {
			return v, err
		}
		for n := range sides {
			sides[n].Break()
		}
	}
	return [2]float64{sides[0].Integrated(), sides[1].Integrated()}, nil
}

// roughly is the loudness of one side in stretches, going by its proxy.
func (a *App) roughly(ctx context.Context, s side, body bool, stretches []covered) (float64, error) {
	sound, err := a.openProxy(ctx, s.rec, s.track)
	if err != nil {
		return 0, err
	}
	defer sound.Close()
	l, err := dsp.NewLoudness(dsp.ProxyRate, 1)
	if err != nil {
		return 0, err
	}
	block := make([]float32, 1<<16)
	for _, c := range stretches {
		from, to := float64(c.from)/clipRate, float64(c.to)/clipRate
		if body {
			from, to = c.lie.Sound(from), c.lie.Sound(to)
		}
		last := int(math.Round(to * dsp.ProxyRate))
		for at := int(math.Round(from * dsp.ProxyRate)); at < last; at += len(block) {
			if err := ctx.Err(); err != nil {
				return 0, err
			}
			part := block[:min(len(block), last-at)]
			if err := sound.ReadAt(part, at); err != nil {
				return 0, err
			}
			l.Write(part)
		}
		l.Break()
	}
	return l.Integrated(), nil
}

// audible is a loudness, nil where it is silence.
func audible(v float64) *float64 {
	if math.IsInf(v, -1) {
		return nil
	}
	return &v
}

// bothCover lists the stretches in which both sides have sound, or the body where
// the clip has none at all.
func (a *App) bothCover(l Laid, body []part) (out []covered) {
	v, end := a.scratch(l)
	if v == nil {
		end = l.frames()
	}
	for _, p := range body {
		if from, to := p.from, min(p.to, end); p.voice != nil && to > from {
			out = append(out, covered{from, to, p.voice.lie})
		}
	}
	return out
}

// spreadOver takes pieces of a length out of stretches, total frames in all, each
// in the middle of its share of them.
func spreadOver(stretches []covered, total, pieces, length int64) (out []covered) {
	for k := range pieces {
		from := (total*(2*k+1)/pieces - length) / 2
		to := from + length
		for _, s := range stretches { // as if they lay end to end
			n := s.to - s.from
			if lo, hi := max(0, from), min(n, to); hi > lo {
				out = append(out, covered{s.from + lo, s.from + hi, s.lie})
			}
			from, to = from-n, to-n
		}
	}
	return out
}
