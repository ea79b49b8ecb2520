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
	rows   int // of the grain
	fine   stretch
	level  [dsp.SketchBands][256]float32 // decibels of a sketch's byte, floor lifted
	raw    []byte
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
	join, step, n := f.grain.join, f.grain.step, len(dst[0])
	if join == 1 && step == 1 {
		return f.readFine(dst, first)
	}
	if f.fine == nil || cap(f.fine[0]) < n*step {
		f.fine = newStretch(dsp.SketchBands, n*step)
	}
	fine := make(stretch, dsp.SketchBands)
	for b := range fine {
		fine[b] = f.fine[b][:n*step]
	}
	if err := f.readFine(fine, first*step); err != nil {
		return err
	}
	for b, band := range dst {
		clear(band)
		for _, x := range fine[b*join : (b+1)*join] {
			for i := range band {
				band[i] += x[2*i] + x[2*i+1] // step is 2
			}
		}
	}
	return nil
}

// readFine is read at the sketch's own grain.
func (f *feature) readFine(dst stretch, first int) error {
	const bands = dsp.SketchBands
	n, rows := len(dst[0]), f.sketch.Rows()
	if cap(f.raw) < (n+2)*bands {
		f.raw = make([]byte, (n+2)*bands)
	}
	raw := f.raw[:(n+2)*bands] // row i of dst is row i+1 of raw
	if err := f.sketch.ReadRows(raw, first-1); err != nil {
		return err
	}
	from, to := max(0, 1-first), min(n, rows-1-first)
	for b := range dst {
		band, level := dst[b], &f.level[b]
		clear(band)
		for i := from; i < to; i++ {
			d := level[raw[(i+2)*bands+b]] - level[raw[i*bands+b]]
			band[i] = max(-steepest, min(steepest, d))
		}
	}
	return nil
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
