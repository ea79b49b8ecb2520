package app

import (
	"context"
	"fmt"
	"math"

	"earshot/internal/dsp"
	"earshot/internal/fault"
	"earshot/internal/media"
)

// Look reads a file, or takes what the cache has of it. Finished clips of
// Earshot's own are read like any other.
func (a *App) Look(ctx context.Context, path string) (*Recording, error) {
	out := &Recording{}
	err := a.turns.take(ctx, "look "+path, func() error {
		read, err := (&reader{app: a, whole: true, tell: newTeller(nil)}).readAll(ctx, []string{path})
		if err != nil {
			return err
		}
		out.rec = read[0].rec
		return read[0].err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// holds refuses a track that is not there.
func (r *Recording) holds(op string, track int) error {
	if track >= 0 && track < len(r.rec.tracks) {
		return nil
	}
	return senseless(op, r.rec.path, "it has %s, and number %d was asked for", count(len(r.rec.tracks), "sound track"), track)
}

// senseless says that what was asked for makes no sense.
func senseless(op, subject, why string, values ...any) error {
	return &fault.Error{Kind: fault.Usage, Op: op, Subject: subject, Err: fmt.Errorf(why, values...),
		Hint: "ask for something that is there"}
}

// Samples are up to n samples of a track from index from on, all channels mixed
// to one with equal weights, at the track's own rate in Hz: those that decoding
// the whole would give there, fewer at the end. What a codec makes up in the
// place of noise, as AAC may, is made up anew each time.
func (a *App) Samples(ctx context.Context, r *Recording, track int, from int64, n int) (mono []float32, rate int, err error) {
	const op, most = "read samples", 1 << 40
	if err := r.holds(op, track); err != nil {
		return nil, 0, err
	}
	if from < 0 || from > most || n < 0 {
		return nil, 0, senseless(op, r.rec.path, "%d from index %d", n, from)
	}
	snd := r.rec.info.Sounds[track]
	last := int64(math.Ceil(float64(r.rec.tracks[track].Samples+1) / dsp.ProxyRate * float64(snd.Rate)))
	n = int(min(int64(n), max(0, last-from)))
	if n == 0 {
		return nil, snd.Rate, nil
	}
	mono = make([]float32, 0, n)
	req := media.Decode{Path: r.rec.path, Info: &r.rec.info, Stream: track, Mono: true,
		From: float64(from) / float64(snd.Rate), To: float64(from+int64(n)) / float64(snd.Rate)}
	err = a.Engine.Decode(ctx, req, func(block []float32) error {
		mono = append(mono, block[:min(len(block), n-len(mono))]...)
		return nil
	})
	return mono, snd.Rate, err
}
