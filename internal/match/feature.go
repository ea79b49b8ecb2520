// Package match finds which sound belongs to which clip: candidates from
// sketches, all against all, then one assignment that keeps the rules of the
// world. It opens no file.
package match

import (
	"math"

	"earshot/internal/dsp"
)

// A feature is a sketch made comparable: for every band the change of level
// over two rows, with the noise floor lifted under it so that only what stands
// out of the noise moves. It is worked out where it is read.
type feature struct {
	sketch dsp.Sketch
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

// newFeature looks through a sketch for the floor of its noise: the level that
// a fifth of a band's rows stay under, leaving out digital silence.
func newFeature(s dsp.Sketch, g Grain) (*feature, error) {
	levels, err := dsp.CountLevels(s)
	if err != nil {
		return nil, err
	}
	f := &feature{sketch: s, grain: g, rows: s.Rows() / g.step}
	for b := range f.level {
		levels[b][0] = 0
		floor := power[levels.Under(b, 0.2)]
		for v := range f.level[b] {
			f.level[b][v] = float32(10 * math.Log10(power[v]+lift*floor))
		}
	}
	return f, nil
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
	step := f.grain.step
	begin, end := min(len(dst[0]), max(0, -first)), max(0, min(len(dst[0]), f.rows-first))
	for _, band := range dst {
		clear(band[:begin])
		clear(band[end:])
	}
	for from := begin; from < end; from += atOnce {
		rows := min(atOnce, end-from)
		if err := f.readLevels(rows*step+2, (first+from)*step-1); err != nil {
			return err
		}
		f.changes(dst, from, from+rows)
	}
	return nil
}

// readLevels fills levels with so many rows of the sketch from first on. The row
// before the recording is as the second, the row behind it as the last but one, so
// that there is no change over two rows at either end.
func (f *feature) readLevels(n, first int) error {
	const bands = dsp.SketchBands
	if cap(f.raw) < n*bands {
		f.raw, f.levels = make([]byte, n*bands), make([]float32, n*bands)
	}
	f.raw, f.levels = f.raw[:n*bands], f.levels[:n*bands]
	if err := f.sketch.ReadRows(f.raw, first); err != nil {
		return err
	}
	for i := 0; i < n*bands; i += bands {
		row, out := (*[bands]byte)(f.raw[i:]), (*[bands]float32)(f.levels[i:])
		for b, v := range row {
			out[b] = f.level[b][v]
		}
	}
	if first < 0 {
		copy(f.levels[:bands], f.levels[2*bands:])
	}
	if end := f.sketch.Rows() - first; end < n {
		copy(f.levels[end*bands:], f.levels[(end-2)*bands:][:bands])
	}
	return nil
}

// changes puts what changes over two of the levels' rows into rows from to to of
// dst.
func (f *feature) changes(dst stretch, from, to int) {
	const bands = dsp.SketchBands
	if f.grain == Whole {
		for b, band := range dst {
			at := f.levels[b:]
			for i := range band[from:to] {
				band[from+i] = change(at[i*bands], at[(i+2)*bands])
			}
		}
		return
	}
	for b, band := range dst { // Half: two bands by two rows
		at := f.levels[2*b:]
		for i := range band[from:to] {
			x := (*[3*bands + 2]float32)(at[2*i*bands:])
			one := change(x[0], x[2*bands]) + change(x[bands], x[3*bands])
			other := change(x[1], x[2*bands+1]) + change(x[bands+1], x[3*bands+1])
			band[from+i] = one + other
		}
	}
}

func change(from, to float32) float32 {
	return max(-steepest, min(steepest, to-from))
}

// energy puts the running sum of squares over all bands into sum, which has a
// place more than s has rows: sum[j]-sum[i] is that of rows i up to j.
func (s stretch) energy(sum []float64) {
	sum[0] = 0
	for i := range s[0] {
		var e float64
		for b := range s {
			e += float64(s[b][i]) * float64(s[b][i])
		}
		sum[i+1] = sum[i] + e
	}
}

func newStretch(bands, rows int) stretch {
	s := make(stretch, bands)
	for b := range s {
		s[b] = make([]float32, rows)
	}
	return s
}
