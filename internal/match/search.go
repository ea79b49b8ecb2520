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

// Lengths in rows of a Grain.
const (
	piece      = 2048 // 41 s, or 82: what 300 ppm shift by less than a row
	block      = 8192
	hop        = block - piece - 2*margin // of a sound, from block to block
	mostPieces = 8                        // of one clip
)

// margin is how far two clocks can move a piece within one clip of half a day,
// in rows: 300 ppm of six hours, at the finest grain.
const margin = 330

// A Clip is a clip's sketch, cut in pieces and transformed, ready to be looked
// for. It is read-only after NewClip and may be shared.
type Clip struct {
	grain  Grain
	rows   int
	pieces []pieceSpectrum
}

type pieceSpectrum struct {
	first, rows int
	energy      float64
	spectrum    [][]complex64
}

// NewClip prepares a clip's sketch.
func NewClip(s dsp.Sketch, g Grain) (*Clip, error) {
	f, err := newFeature(s, g)
	if err != nil {
		return nil, err
	}
	c := &Clip{grain: g, rows: f.rows}
	fft, energy, wide := dsp.NewFFT(block), make([]float64, piece+1), make([]complex128, block/2+1)
	for _, first := range spreadPieces(c.rows, piece) {
		p := pieceSpectrum{first: first, rows: min(piece, c.rows-first)}
		part := newStretch(g.bands(), p.rows)
		if err := f.read(part, first); err != nil {
			return nil, err
		}
		part.energy(energy[:p.rows+1])
		if p.energy = energy[p.rows]; p.energy == 0 {
			continue
		}
		for b := range part {
			p.spectrum = append(p.spectrum, transform(fft, part[b], wide, nil))
		}
		c.pieces = append(c.pieces, p)
	}
	return c, nil
}

// Bytes returns about how much memory c and a search for it take.
func (c *Clip) Bytes() int {
	return len(c.pieces)*c.grain.bands()*(block/2+1)*8 + newFieldRows(c)*fieldRow
}

// Cost is about what a search for a clip in a sound takes at the grain Whole,
// both in rows of a sketch: how often a piece is held against a block. A core
// does some seven thousand a second.
func Cost(clipRows, soundRows int) int {
	return len(spreadPieces(clipRows, piece)) * ((soundRows+piece)/hop + 1)
}

// spreadPieces spreads at most mostPieces pieces of so many rows over all rows
// of a clip; they touch where that is short enough.
func spreadPieces(rows, piece int) []int {
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

// transform puts the spectrum of a band, zeros after it, into dst by way of
// wide; a nil dst makes a new one.
func transform(fft *dsp.FFT, band []float32, wide []complex128, dst []complex64) []complex64 {
	buf := fft.Buffer()
	for i, v := range band {
		buf[i] = float64(v)
	}
	clear(buf[len(band):])
	if dst == nil {
		dst = make([]complex64, len(wide))
	}
	for i, c := range fft.Forward(wide) {
		dst[i] = complex64(c)
	}
	return dst
}

// Search looks for every clip, all of one Grain, in one sound and returns, for each, up to most
// candidates, best first. The sound is gone through block by block: memory
// does not grow with its length.
func Search(clips []*Clip, sound dsp.Sketch, most int) ([][]Candidate, error) {
	if len(clips) == 0 {
		return nil, nil
	}
	s, err := newSearcher(sound, clips[0].grain)
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
	fft     *dsp.FFT
	acc     []complex128

	// The block loaded:
	part     stretch
	energy   []float64
	spectrum [][]complex64
	norms    *norms[float64]
}

func newSearcher(sound dsp.Sketch, g Grain) (*searcher, error) {
	f, err := newFeature(sound, g)
	if err != nil {
		return nil, err
	}
	s := &searcher{feature: f, rows: f.rows, fft: dsp.NewFFT(block), acc: make([]complex128, block/2+1),
		part: newStretch(g.bands(), block), energy: make([]float64, block+1),
		spectrum: make([][]complex64, g.bands())}
	s.norms = newNorms[float64](g.bands(), s.rows, block-piece, s.energy)
	var sum float64
	for first := 0; first < s.rows; first += block {
		if err := f.read(s.part, first); err != nil {
			return nil, err
		}
		s.part.energy(s.energy)
		sum += s.energy[block]
	}
	s.norms.mean = sum / float64(max(s.rows, 1))
	return s, nil
}

// load makes the block that begins at row start ready.
func (s *searcher) load(start int) error {
	s.norms.start = start
	if err := s.feature.read(s.part, start); err != nil {
		return err
	}
	s.part.energy(s.energy)
	for b := range s.part {
		s.spectrum[b] = transform(s.fft, s.part[b], s.acc, s.spectrum[b])
	}
	return nil
}

// correlate returns how well a piece fits at every row of the block where it
// lies in it whole, valid until the next call. It is divided by both energies
// and weighed by the square root of the rows that went in, so that unrelated
// places have about unit variance.
func (s *searcher) correlate(p *pieceSpectrum) []float64 {
	cross(s.acc, p.spectrum, s.spectrum)
	r := s.fft.Inverse(s.acc)[:block-piece]
	own := 1 / math.Sqrt(p.energy)
	for i, v := range s.norms.of(p.rows) {
		r[i] *= v * own
	}
	return r
}

// cross sums conj(X)·Y over the bands, three at a time.
func cross(acc []complex128, x, y [][]complex64) {
	clear(acc)
	n := len(acc)
	for b := 0; b < len(x); b += 3 {
		x0, x1, x2 := x[b][:n], x[b+1][:n], x[b+2][:n]
		y0, y1, y2 := y[b][:n], y[b+1][:n], y[b+2][:n]
		for k := range acc {
			acc[k] += product(x0[k], y0[k], x1[k], y1[k], x2[k], y2[k])
		}
	}
}

// product is conj(a)·d + conj(b)·e + conj(c)·f.
func product(a, d, b, e, c, f complex64) complex128 {
	re := real(a)*real(d) + imag(a)*imag(d) + real(b)*real(e) + imag(b)*imag(e) + real(c)*real(f) + imag(c)*imag(f)
	im := real(a)*imag(d) - imag(a)*real(d) + real(b)*imag(e) - imag(b)*real(e) + real(c)*imag(f) - imag(c)*real(f)
	return complex(float64(re), float64(im))
}
