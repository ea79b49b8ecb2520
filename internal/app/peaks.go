package app

import (
	"context"
	"errors"
	"strconv"

	"earshot/internal/dsp"
	"earshot/internal/store"
)

func peaksName(i int) string { return "peaks-" + strconv.Itoa(i) }

// Peaks are up to n bins of a track's wave from index from on, dsp.BinBytes bytes
// each, and how many there are in all at that level: see dsp.Bin. They are made
// of what is kept of the sound, mono at dsp.ProxyRate, so what lies above 7 kHz
// is not in them. The first time a track is asked for, its bins are made in one
// pass and kept as dsp.Peaks lays them out.
func (a *App) Peaks(ctx context.Context, r *Recording, track, level, from, n int) (bins []byte, of int, err error) {
	const op = "read peaks"
	if err := r.holds(op, track); err != nil {
		return nil, 0, err
	}
	if level < 0 || level >= dsp.BinLevels || from < 0 || n < 0 {
		return nil, 0, senseless(op, r.rec.path, "%d bins of level %d from index %d", n, level, from)
	}
	w, err := a.openWave(ctx, r.rec, track)
	if err != nil {
		return nil, 0, err
	}
	defer w.Close()
	of = dsp.BinCount(w.samples, level)
	from = min(from, of)
	bins = make([]byte, min(n, of-from)*dsp.BinBytes)
	return bins, of, w.read(bins, level, from)
}

// A wave reads the bins of a track. What turns out damaged while it is read is
// made anew. It is not for concurrent use.
type wave struct {
	*store.Pages
	samples int
	again   func() (*store.Pages, error)
}

// read fills bins, inside the recording, with those of a level from index first
// on.
func (w *wave) read(bins []byte, level, first int) error {
	at := int64(first)
	for below := range level {
		at += int64(dsp.BinCount(w.samples, below))
	}
	err := w.ReadAt(bins, at*dsp.BinBytes)
	if !errors.Is(err, store.ErrDamaged) {
		return err
	}
	made, err := w.again()
	if err != nil {
		return err
	}
	w.Pages.Close()
	w.Pages = made
	return made.ReadAt(bins, at*dsp.BinBytes)
}

// openWave opens a track's bins, made if need be.
func (a *App) openWave(ctx context.Context, r *recording, i int) (*wave, error) {
	w := &wave{samples: r.tracks[i].Samples}
	size := int64(0)
	for level := range dsp.BinLevels {
		size += int64(dsp.BinCount(w.samples, level)) * dsp.BinBytes
	}
	open := func() (*store.Pages, error) { return a.Cache.OpenPages(r.id, peaksName(i), size) }
	w.again = func() (*store.Pages, error) {
		if err := a.makePeaks(ctx, r, i); err != nil {
			return nil, err
		}
		return open()
	}
	err := a.turns.take(ctx, "peaks "+string(r.id)+strconv.Itoa(i), func() (err error) {
		if w.Pages, err = open(); errors.Is(err, store.ErrDamaged) {
			w.Pages, err = w.again()
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return w, nil
}

// makePeaks keeps the bins of a track, made of its proxy in one pass.
func (a *App) makePeaks(ctx context.Context, r *recording, i int) error {
	sound, err := a.openProxy(ctx, r, i)
	if err != nil {
		return err
	}
	defer sound.Close()
	out, err := a.Cache.CreatePages(r.id, peaksName(i))
	if err != nil {
		return err
	}
	if err := peaksOf(ctx, sound, r.tracks[i].Samples, out.Write); err != nil {
		out.Discard()
		return err
	}
	_, err = out.Close()
	return err
}

// peaksOf writes the bins of n samples of a sound.
func peaksOf(ctx context.Context, sound *proxy, n int, write func([]byte) error) error {
	var peaks dsp.Peaks
	block := make([]float32, 1<<16)
	for at := 0; at < n; at += len(block) {
		if err := ctx.Err(); err != nil {
			return err
		}
		part := block[:min(len(block), n-at)]
		if err := sound.ReadAt(part, at); err != nil {
			return err
		}
		peaks.Write(part)
		if err := write(peaks.Take()); err != nil {
			return err
		}
	}
	return write(peaks.Close())
}
