package match

import (
	"math"
	"sort"

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
	mostPieces = 8 // of one clip
	apart      = 15
)

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
func NewClip(s dsp.Sketch) *Clip {
	f := newFeature(s)
	energy := f.energy()
	c := &Clip{rows: s.Rows()}
	fft := dsp.NewFFT(block)
	for _, first := range pieceStarts(c.rows) {
		p := pieceSpectrum{first: first, rows: min(piece, c.rows-first)}
		p.energy = energy[first+p.rows] - energy[first]
		if p.energy == 0 {
			continue
		}
		for b := range f {
			p.spectrum[b] = transform(fft, f[b], first, p.rows)
		}
		c.pieces = append(c.pieces, p)
	}
	return c
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

func transform(fft *dsp.FFT, band []float32, first, rows int) []complex128 {
	buf := fft.Buffer()
	clear(buf)
	for i := range rows {
		if j := first + i; j >= 0 && j < len(band) {
			buf[i] = float64(band[j])
		}
	}
	return fft.Forward(nil)
}

// Search looks for every clip in one sound and returns, for each, up to most
// candidates, best first. Clips are taken in batches, so that memory grows
// neither with their number nor beyond tens of megabytes for a long sound.
func Search(clips []*Clip, sound dsp.Sketch, most int) [][]Candidate {
	s := &searcher{feature: newFeature(sound), rows: sound.Rows(), fft: dsp.NewFFT(block)}
	s.energy = s.feature.energy()
	out := make([][]Candidate, 0, len(clips))
	for len(out) < len(clips) {
		batch := clips[len(out):]
		batch = batch[:min(len(batch), s.batch())]
		for _, f := range s.run(batch) {
			out = append(out, f.candidates(most))
		}
	}
	return out
}

// margin is how far two clocks can move a piece within one clip of half a day,
// in rows: 300 ppm of six hours.
const margin = 330

// A searcher looks through one sound.
type searcher struct {
	feature feature
	energy  []float64
	rows    int
	fft     *dsp.FFT
}

// batch is how many clips to take at once: their fields take ten bytes a row.
func (s *searcher) batch() int { return max(1, min(32, (48<<20)/(10*(s.rows+1)))) }

func (s *searcher) run(clips []*Clip) []*field {
	fields := make([]*field, len(clips))
	for i, c := range clips {
		fields[i] = newField(c, s.rows)
	}
	var spectrum [dsp.SketchBands][]complex128
	acc := make([]complex128, block/2+1)
	const hop = block - piece - 2*margin
	for start := -piece - margin; start < s.rows; start += hop {
		for b := range s.feature {
			spectrum[b] = transform(s.fft, s.feature[b], start, block)
		}
		for i, c := range clips {
			for j := range c.pieces {
				cross(acc, &c.pieces[j].spectrum, &spectrum)
				r := s.fft.Inverse(acc)[:block-piece]
				s.normalise(r, &c.pieces[j], start)
				fields[i].add(j, r, start+margin, hop)
			}
		}
	}
	return fields
}

// normalise divides a correlation that starts at row start by both energies
// and weighs it by the square root of the rows that went in, so that unrelated
// places have about unit variance.
func (s *searcher) normalise(r []float64, p *pieceSpectrum, start int) {
	floor := 0.25 * s.energy[s.rows] / float64(max(s.rows, 1)) * float64(p.rows)
	scale := math.Sqrt(float64(p.rows * dsp.SketchBands))
	for i := range r {
		lo, hi := max(start+i, 0), min(start+i+p.rows, s.rows)
		if lo >= hi {
			r[i] = 0
			continue
		}
		e := math.Max(s.energy[hi]-s.energy[lo], floor)
		if e == 0 {
			r[i] = 0
			continue
		}
		r[i] *= scale / math.Sqrt(p.energy*e)
	}
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

// A field holds how well a clip fits at every offset of a sound: index i is
// the offset i-rows(clip), in rows.
type field struct {
	clip  *Clip
	sum   []float32 // over the pieces
	best  []float32 // the greatest of them
	piece []uint8   // which that is
	shift []int16   // and how many rows from i it stands
}

func newField(c *Clip, rows int) *field {
	n := c.rows + rows
	return &field{clip: c, sum: make([]float32, n), best: make([]float32, n), piece: make([]uint8, n), shift: make([]int16, n)}
}

// add enters piece j: r starts margin rows before row start, n rows are for
// this call.
func (f *field) add(j int, r []float64, start, n int) {
	m := f.slack(j)
	for i := range n {
		at := start + i - f.clip.pieces[j].first + f.clip.rows
		if at < 0 || at >= len(f.sum) {
			continue
		}
		best, shift := r[margin+i], 0
		for k := -m; k <= m; k++ {
			if v := r[margin+i+k]; v > best {
				best, shift = v, k
			}
		}
		f.sum[at] += float32(best)
		if float32(best) > f.best[at] {
			f.best[at], f.piece[at], f.shift[at] = float32(best), uint8(j), int16(shift)
		}
	}
}

// slack is how many rows the drift of two clocks can move piece j against the
// middle piece.
func (f *field) slack(j int) int {
	mid := f.clip.rows / 2
	d := f.clip.pieces[j].first + f.clip.pieces[j].rows/2 - mid
	return min(margin, int(math.Ceil(300e-6*math.Abs(float64(d)))))
}

// candidates finds the highest places of all pieces together. The field is
// used up.
func (f *field) candidates(most int) []Candidate {
	scale := spreadOf(f.sum)
	var out []Candidate
	for len(out) < most {
		best := 0
		for i, v := range f.sum {
			if v > f.sum[best] {
				best = i
			}
		}
		if len(f.sum) == 0 || f.sum[best] <= 0 {
			break
		}
		out = append(out, f.candidate(best, float64(f.sum[best])/scale))
		for i := max(0, best-apart); i < min(len(f.sum), best+apart); i++ {
			f.sum[i] = 0
		}
	}
	return out
}

// spreadOf is the deviation of the places where nothing matches, from the
// median magnitude.
func spreadOf(v []float32) float64 {
	mag := make([]float64, 0, len(v)/3+1)
	for i := 0; i < len(v); i += 3 {
		if v[i] != 0 {
			mag = append(mag, math.Abs(float64(v[i])))
		}
	}
	if len(mag) == 0 {
		return 1
	}
	sort.Float64s(mag)
	return math.Max(mag[len(mag)/2]/0.6745, 1e-9)
}

// candidate names a place by the piece that stands out most there.
func (f *field) candidate(at int, score float64) Candidate {
	p := f.clip.pieces[f.piece[at]]
	mid := (float64(p.first) + float64(p.rows)/2) / dsp.SketchRate
	offset := float64(at+int(f.shift[at])-f.clip.rows) / dsp.SketchRate
	return Candidate{At: mid, Sound: mid + offset, Score: score}
}
