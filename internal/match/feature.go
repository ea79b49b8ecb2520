// Package match finds which sound belongs to which clip: candidates from
// sketches, all against all, then one assignment that keeps the rules of the
// world. It opens no file.
package match

import (
	"math"
	"slices"

	"earshot/internal/dsp"
)

// A feature is a sketch made comparable: for every band the change of level
// over two rows, with the noise floor lifted under it so that only what stands
// out of the noise moves. At the whole grain it is worked out where it is read;
// at the half grain Halve has worked it out before. A long shoot is searched
// often, and this is a quarter of what a search would read.
type feature struct {
	from   dsp.Sketch // rows of SketchBands levels; at the half grain, of HalfBands changes
	grain  Grain
	rows   int                           // of the grain
	level  [dsp.SketchBands][256]float32 // decibels of a sketch's byte, floor lifted
	raw    []byte
	levels []float32 // of the rows read last, row after row
}

// A Grain is how closely a sketch is looked at: so many of its bands made one,
// and so many of its rows, by adding up what the feature says of them.
type Grain struct{ join, step int }

// The grains of a search. Half shows a short clip's match a fifth fainter than
// Whole does, a long one's as high, at a third of the cost.
var (
	Whole = Grain{1, 1}
	Half  = Grain{2, 2}
)

func (g Grain) bands() int    { return dsp.SketchBands / g.join }
func (g Grain) rate() float64 { return dsp.SketchRate / float64(g.step) } // rows a second

// A stretch is a part of a feature: band b's row i is stretch[b][i].
type stretch [][]float32

// lift is how far above the floor the levels are softened, as a power ratio.
const lift = 2

// steepest is the largest change that counts, decibels.
const steepest = 15

// HalfBands is how many bytes a row has of what Halve makes, one for each two
// bands; it has a row for each two of the sketch.
const HalfBands = dsp.SketchBands / 2

// HalfRows is how many rows Halve makes of those of a sketch.
func HalfRows(rows int) int { return rows / 2 }

// halfStep is what one stands for in what Halve makes, decibels: a sketch's own
// step. Four changes of at most steepest reach 120.
const halfStep = 0.5

// newFeature makes rows comparable: those of a sketch, or at the half grain what
// Halve made of one. It looks through a sketch for the floor of its noise: the
// level that a fifth of a band's rows stay under, leaving out digital silence.
func newFeature(rows dsp.Sketch, g Grain) (*feature, error) {
	f := &feature{from: rows, grain: g, rows: rows.Rows()}
	if g == Half {
		return f, nil
	}
	levels, err := dsp.CountLevels(rows)
	if err != nil {
		return nil, err
	}
	for b := range f.level {
		levels[b][0] = 0
		floor := power[levels.Under(b, 0.2)]
		for v := range f.level[b] {
			f.level[b][v] = float32(10 * math.Log10(power[v]+lift*floor))
		}
	}
	return f, nil
}

// Halve makes of a sketch what a search at the half grain reads: the changes of
// two bands in two rows added up, a signed byte each, in steps of halfStep. It
// gives them to write in rows of HalfBands, HalfRows of them in all.
func Halve(s dsp.Sketch, write func(rows []byte) error) error {
	const atOnce = 4096 // rows made
	f, err := newFeature(s, Whole)
	if err != nil {
		return err
	}
	whole := newStretch(dsp.SketchBands, 2*atOnce)
	out := make([]byte, atOnce*HalfBands)
	for first := 0; first < HalfRows(f.rows); first += atOnce {
		if err := f.read(whole, 2*first); err != nil {
			return err
		}
		n := min(atOnce, HalfRows(f.rows)-first)
		for b := range HalfBands {
			x, y := whole[2*b], whole[2*b+1]
			for i := range n {
				sum := x[2*i] + x[2*i+1] + y[2*i] + y[2*i+1]
				out[i*HalfBands+b] = byte(int8(math.RoundToEven(float64(sum) / halfStep)))
			}
		}
		if err := write(out[:n*HalfBands]); err != nil {
			return err
		}
	}
	return nil
}

// power of a sketch's byte, re full scale.
var power = func() (p [256]float64) {
	for i := range p {
		p[i] = math.Pow(10, (float64(i)/2-110)/10)
	}
	return p
}()

// read fills every band of dst with as many rows from first on. There is no
// change at the recording's ends nor outside of it.
func (f *feature) read(dst stretch, first int) error {
	const atOnce = 512 // rows, so that they stay at hand
	begin, end := min(len(dst[0]), max(0, -first)), max(0, min(len(dst[0]), f.rows-first))
	for _, band := range dst {
		clear(band[:begin])
		clear(band[end:])
	}
	part := f.changes
	if f.grain == Half {
		part = f.halved
	}
	for from := begin; from < end; from += atOnce {
		if err := part(dst, from, min(from+atOnce, end), first); err != nil {
			return err
		}
	}
	return nil
}

// readLevels fills levels with so many rows of the sketch from first on. The row
// before the recording is as the second, the row behind it as the last but one, so
// that there is no change over two rows at either end.
func (f *feature) readLevels(n, first int) error {
	const bands = dsp.SketchBands
	if err := f.readRaw(n*bands, first); err != nil {
		return err
	}
	f.levels = slices.Grow(f.levels[:0], n*bands)[:n*bands]
	for i := 0; i < n*bands; i += bands {
		row, out := (*[bands]byte)(f.raw[i:]), (*[bands]float32)(f.levels[i:])
		for b, v := range row {
			out[b] = f.level[b][v]
		}
	}
	if first < 0 {
		copy(f.levels[:bands], f.levels[2*bands:])
	}
	if end := f.from.Rows() - first; end < n {
		copy(f.levels[end*bands:], f.levels[(end-2)*bands:][:bands])
	}
	return nil
}

// readRaw fills raw with so many bytes from row first on.
func (f *feature) readRaw(n, first int) error {
	f.raw = slices.Grow(f.raw[:0], n)[:n]
	return f.from.ReadRows(f.raw, first)
}

// changes puts what changes over two of the sketch's rows into rows from to to of
// dst, whose first is row first.
func (f *feature) changes(dst stretch, from, to, first int) error {
	const bands = dsp.SketchBands
	if err := f.readLevels(to-from+2, first+from-1); err != nil {
		return err
	}
	for b, band := range dst {
		at := f.levels[b:]
		for i := range band[from:to] {
			band[from+i] = change(at[i*bands], at[(i+2)*bands])
		}
	}
	return nil
}

// halved is changes at the half grain, in steps of halfStep.
func (f *feature) halved(dst stretch, from, to, first int) error {
	if err := f.readRaw((to-from)*HalfBands, first+from); err != nil {
		return err
	}
	for b, band := range dst {
		at := f.raw[b:]
		for i := range band[from:to] {
			band[from+i] = float32(int8(at[i*HalfBands]))
		}
	}
	return nil
}

func change(from, to float32) float32 {
	return max(-steepest, min(steepest, to-from))
}

// energy puts the running sum of squares over all bands, a multiple of three of
// them, into sum, which has a place more than s has rows: sum[j]-sum[i] is that of
// rows i up to j.
func (s stretch) energy(sum []float64) {
	clear(sum)
	rows := sum[1:]
	for b := 0; b < len(s); b += 3 {
		x, y, z := s[b][:len(rows)], s[b+1][:len(rows)], s[b+2][:len(rows)]
		for i := range rows {
			p, q, r := float64(x[i]), float64(y[i]), float64(z[i])
			rows[i] += p*p + q*q + r*r
		}
	}
	total := 0.0
	for i, e := range rows {
		total += e
		rows[i] = total
	}
}

func newStretch(bands, rows int) stretch {
	s := make(stretch, bands)
	for b := range s {
		s[b] = make([]float32, rows)
	}
	return s
}
