package match

import (
	"math"

	"earshot/internal/dsp"
)

// A Candidate says that a clip may lie in a sound: what the clip hears at At,
// the sound hears at about Sound, within a sketch's row or two.
type Candidate struct {
	At, Sound float64 // seconds
	Score     float64 // height over unrelated places in the same sound, standard deviations
}

// Lengths in rows of a sketch.
const (
	piece      = 2048 // 41 s: what 300 ppm shift by less than a row
	block      = 8192
	hop        = block - piece - 2*margin // of a sound, from block to block
	mostPieces = 8                        // of one clip
)

// margin is how far two clocks can move a piece within one clip of half a day,
// in rows: 300 ppm of six hours.
const margin = 330

// A Clip is a clip's sketch, cut in pieces and transformed, ready to be looked
// for. It is read-only after NewClip and may be shared.
type Clip struct {
	rows   int
	pieces []pieceSpectrum
}

type pieceSpectrum struct {
	first, rows int
	energy      float64
	spectrum    [dsp.SketchBands][]complex128
}

// NewClip prepares a clip's sketch.
func NewClip(s dsp.Sketch) (*Clip, error) {
	f, err := newFeature(s)
	if err != nil {
		return nil, err
	}
	c := &Clip{rows: s.Rows()}
	fft, energy := dsp.NewFFT(block), make([]float64, piece+1)
	for _, first := range pieceStarts(c.rows) {
		p := pieceSpectrum{first: first, rows: min(piece, c.rows-first)}
		part := newStretch(p.rows)
		if err := f.read(part, first); err != nil {
			return nil, err
		}
		part.energy(energy[:p.rows+1])
		if p.energy = energy[p.rows]; p.energy == 0 {
			continue
		}
		for b := range part {
			p.spectrum[b] = transform(fft, part[b], nil)
		}
		c.pieces = append(c.pieces, p)
	}
	return c, nil
}

// Bytes returns about how much memory c and a search for it take.
func (c *Clip) Bytes() int {
	return len(c.pieces)*dsp.SketchBands*(block/2+1)*16 + newFieldRows(c)*fieldRow
}

// pieceStarts spreads at most mostPieces pieces over rows; they touch where
// rows is short enough.
func pieceStarts(rows int) []int {
	if rows <= piece {
		return []int{0}
	}
	n := min(mostPieces, (rows+piece-1)/piece)
	starts := make([]int, n)
	for i := range starts {
		starts[i] = (rows - piece) * i / (n - 1)
	}
	return starts
}

// transform puts the spectrum of a band, zeros after it, into dst; a nil dst
// makes a new one.
func transform(fft *dsp.FFT, band []float32, dst []complex128) []complex128 {
	buf := fft.Buffer()
	for i, v := range band {
		buf[i] = float64(v)
	}
	clear(buf[len(band):])
	return fft.Forward(dst)
}

// Search looks for every clip in one sound and returns, for each, up to most
// candidates, best first. The sound is gone through block by block: memory
// does not grow with its length.
func Search(clips []*Clip, sound dsp.Sketch, most int) ([][]Candidate, error) {
	s, err := newSearcher(sound)
	if err != nil {
		return nil, err
	}
	fields := make([]*field, len(clips))
	for i, c := range clips {
		fields[i] = newField(c, s.rows, most)
	}
	for start := -piece - margin; start < s.rows; start += hop {
		if err := s.load(start); err != nil {
			return nil, err
		}
		for i, c := range clips {
			for j := range c.pieces {
				fields[i].add(j, s.correlate(&c.pieces[j]), start+margin)
			}
			fields[i].settle()
		}
	}
	out := make([][]Candidate, len(clips))
	for i, f := range fields {
		out[i] = f.candidates()
	}
	return out, nil
}

// A searcher looks through one sound.
type searcher struct {
	feature *feature
	rows    int
	mean    float64 // energy of a row
	fft     *dsp.FFT
	acc     []complex128

	// The block loaded:
	start    int // row of the sound
	part     *stretch
	energy   []float64
	spectrum [dsp.SketchBands][]complex128
}

func newSearcher(sound dsp.Sketch) (*searcher, error) {
	f, err := newFeature(sound)
	if err != nil {
		return nil, err
	}
	s := &searcher{feature: f, rows: sound.Rows(), fft: dsp.NewFFT(block), acc: make([]complex128, block/2+1),
		part: newStretch(block), energy: make([]float64, block+1)}
	var sum float64
	for first := 0; first < s.rows; first += block {
		if err := f.read(s.part, first); err != nil {
			return nil, err
		}
		s.part.energy(s.energy)
		sum += s.energy[block]
	}
	s.mean = sum / float64(max(s.rows, 1))
	return s, nil
}

// load makes the block that begins at row start ready.
func (s *searcher) load(start int) error {
	s.start = start
	if err := s.feature.read(s.part, start); err != nil {
		return err
	}
	s.part.energy(s.energy)
	for b := range s.part {
		s.spectrum[b] = transform(s.fft, s.part[b], s.spectrum[b])
	}
	return nil
}

// correlate returns how well a piece fits at every row of the block where it
// lies in it whole, valid until the next call. It is divided by both energies
// and weighed by the square root of the rows that went in, so that unrelated
// places have about unit variance.
func (s *searcher) correlate(p *pieceSpectrum) []float64 {
	cross(s.acc, &p.spectrum, &s.spectrum)
	r := s.fft.Inverse(s.acc)[:block-piece]
	floor := 0.25 * s.mean * float64(p.rows)
	scale := math.Sqrt(float64(p.rows * dsp.SketchBands))
	for i := range r {
		e := math.Max(s.energy[i+p.rows]-s.energy[i], floor)
		if s.start+i+p.rows <= 0 || s.start+i >= s.rows || e == 0 {
			r[i] = 0
			continue
		}
		r[i] *= scale / math.Sqrt(p.energy*e)
	}
	return r
}

// cross sums conj(X)·Y over the bands.
func cross(acc []complex128, x, y *[dsp.SketchBands][]complex128) {
	clear(acc)
	for b := range x {
		xb, yb := x[b][:len(acc)], y[b][:len(acc)]
		for k := range acc {
			acc[k] += complex(real(xb[k]), -imag(xb[k])) * yb[k]
		}
	}
}
