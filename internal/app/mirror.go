package app

import (
	"context"
	"math"

	"earshot/internal/align"
	"earshot/internal/dsp"
)

// mostColumns is how finely Mirror shows a clip.
const mostColumns = 1 << 16

// Mirror shows both microphones in n columns of equal length along the clip, each
// of four bytes: body peak, body level, scratch peak, scratch level. A peak is
// the greatest magnitude within the column, or beside it by an eighth of one or
// 4 ms, whichever is more; a level is the root mean square within it. The body
// lies on the clip's clock as in the finished clip, without its fades; where a
// side has nothing there are zeros.
//
// Each side is drawn to its own scale: see heights.
func (a *App) Mirror(ctx context.Context, l Laid, n int) ([]byte, error) {
	const op = "show the sound of"
	if err := l.check(op); err != nil {
		return nil, err
	}
	if n < 1 || n > mostColumns {
		return nil, senseless(op, l.Clip.Path(), "%d columns", n)
	}
	total := l.frames()
	body, scratch := newColumns(n, total), newColumns(n, total)
	if err := body.add(ctx, l.Sound.rec, l.SoundTrack, a.body(l)); err != nil {
		return nil, err
	}
	if v, end := a.scratch(l); v != nil {
		if err := scratch.add(ctx, v.rec, v.track, []part{{0, end, v}}); err != nil {
			return nil, err
		}
	}
	out := make([]byte, 4*n)
	bodyTo, scratchTo := heights(body.tops), heights(scratch.tops)
	for i := range n {
		out[4*i], out[4*i+1] = bodyTo(body.tops[i]), bodyTo(body.level(i))
		out[4*i+2], out[4*i+3] = scratchTo(scratch.tops[i]), scratchTo(scratch.level(i))
	}
	return out, nil
}

// Columns are a side of a mirror, in units of a Bin.
type columns struct {
	width   float64   // clip seconds
	tops    []float64 // greatest magnitudes
	squares []float64 // summed over samples at dsp.ProxyRate
}

func newColumns(n int, frames int64) *columns {
	return &columns{width: float64(frames) / clipRate / float64(n), tops: make([]float64, n), squares: make([]float64, n)}
}

// level is the root mean square of column i.
func (c *columns) level(i int) float64 {
	return math.Min(c.tops[i], math.Sqrt(c.squares[i]/(c.width*dsp.ProxyRate)))
}

// add puts the parts that a track plays into the columns.
func (c *columns) add(ctx context.Context, r *recording, track int, parts []part) error {
	var w *wave
	for _, p := range parts {
		if p.voice == nil || p.to <= p.from {
			continue
		}
		if w == nil {
			var err error
			if w, err = p.voice.app.openWave(ctx, r, track); err != nil {
				return err
			}
			defer w.Close()
		}
		if err := c.part(w, p.voice.lie, float64(p.from)/clipRate, float64(p.to)/clipRate); err != nil {
			return err
		}
	}
	return nil
}

// part puts what a wave holds from clip time from to to along a line into the
// columns, by bins of which a column holds eight or more, if there are such.
func (c *columns) part(w *wave, lie align.Alignment, from, to float64) error {
	level := 0
	for level+1 < dsp.BinLevels && 8*float64(dsp.BinSpan(level+1)) <= c.width*dsp.ProxyRate {
		level++
	}
	span := float64(dsp.BinSpan(level))
	binAt := func(t float64) float64 { return lie.Sound(t) * dsp.ProxyRate / span }
	count := float64(dsp.BinCount(w.samples, level))
	first := int(math.Max(0, math.Min(count, math.Floor(binAt(from)))))
	last := int(math.Max(float64(first), math.Min(count, math.Ceil(binAt(to)))))
	bins := make([]byte, (last-first)*dsp.BinBytes)
	if err := w.read(bins, level, first); err != nil {
		return err
	}
	for i := max(0, int(from/c.width)); i < len(c.tops) && float64(i)*c.width < to; i++ {
		lo, hi := binAt(math.Max(from, float64(i)*c.width)), binAt(math.Min(to, float64(i+1)*c.width))
		for k := max(first, int(math.Floor(lo))); k < last && float64(k) < hi; k++ {
			bin := dsp.BinAt(bins[(k-first)*dsp.BinBytes:])
			end := math.Min(float64(k+1), float64(w.samples)/span) // the last one may be short
			share := math.Max(0, math.Min(hi, end)-math.Max(lo, float64(k)))
			c.tops[i] = math.Max(c.tops[i], float64(bin.Top()))
			c.squares[i] += float64(bin.RMS) * float64(bin.RMS) * share * span / (1 + lie.Drift)
		}
	}
	return nil
}

// How a mirror's heights are shared out.
const (
	mostOf     = 0.95 // of the columns that hold anything have their peaks in the straight part
	straightTo = 224  // of 255
	quietest   = 33   // of 32767, -60 dBFS: what is quieter throughout is drawn smaller
)

// heights draws magnitudes to the scale of a side whose columns reach tops. Most
// of them, up to the peak that 95 of 100 columns stay under, are drawn straight,
// that peak at 224; what is louder, a clap or a knock, is squeezed by its
// logarithm into what is left, the loudest at 255, so that it neither flattens
// the speech nor is cut. Where the loudest rises no higher than 255 along the
// straight line, all is straight and the loudest stands at 255.
func heights(tops []float64) func(v float64) byte {
	var heard []float64
	loudest := 0.0
	for _, v := range tops {
		if v > 0 {
			heard = append(heard, v)
		}
		loudest = math.Max(loudest, v)
	}
	if loudest == 0 {
		return func(float64) byte { return 0 }
	}
	loudest = math.Max(loudest, quietest)
	most := math.Max(dsp.Quantile(heard, mostOf), quietest)
	if loudest*straightTo <= most*255 {
		return func(v float64) byte { return byte(math.Round(255 * v / loudest)) }
	}
	return func(v float64) byte {
		if v <= most {
			return byte(math.Round(straightTo * v / most))
		}
		return byte(math.Round(straightTo + (255-straightTo)*math.Log(v/most)/math.Log(loudest/most)))
	}
}
