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
// candidates, best first. Work and memory grow with the sound's length; the
// sound's own transforms are made once for all clips.
func Search(clips []*Clip, sound dsp.Sketch, most int) [][]Candidate {
	f := newFeature(sound)
	energy := f.energy()
	rows := sound.Rows()
	fields := make([]*field, len(clips))
	for i, c := range clips {
		fields[i] = newField(c, rows)
	}
	fft := dsp.NewFFT(block)
	var spectrum [dsp.SketchBands][]complex128
	acc := make([]complex128, block/2+1)
	for start := -piece; start < rows; start += block - piece {
		for b := range f {
			spectrum[b] = transform(fft, f[b], start, block)
		}
		for i, c := range clips {
			for j := range c.pieces {
				p := &c.pieces[j]
				cross(acc, &p.spectrum, &spectrum)
				fields[i].add(j, p, fft.Inverse(acc)[:block-piece], start, energy)
			}
		}
	}
	out := make([][]Candidate, len(clips))
	for i := range fields {
		out[i] = fields[i].candidates(most)
	}
	return out
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
	clip   *Clip
	pieces [][]float32 // one each for the clip's pieces
}

func newField(c *Clip, rows int) *field {
	f := &field{clip: c, pieces: make([][]float32, len(c.pieces))}
	for i := range f.pieces {
		f.pieces[i] = make([]float32, c.rows+rows)
	}
	return f
}

// add enters piece j's correlation with the sound rows from start on,
// normalised by both energies and weighted by the square root of the rows
// that went in, so that unrelated places have about unit variance.
func (f *field) add(j int, p *pieceSpectrum, r []float64, start int, energy []float64) {
	total := len(energy) - 1
	floor := 0.25 * energy[total] / float64(max(total, 1)) * float64(p.rows)
	for i, v := range r {
		row := start + i
		at := row - p.first + f.clip.rows
		lo, hi := max(row, 0), min(row+p.rows, total)
		if at < 0 || at >= len(f.pieces[j]) || lo >= hi {
			continue
		}
		e := math.Max(energy[hi]-energy[lo], floor)
		f.pieces[j][at] = float32(v / math.Sqrt(p.energy*e) * math.Sqrt(float64(p.rows*dsp.SketchBands)))
	}
}

// slack is how many rows the drift of two clocks can move piece j against the
// middle piece.
func (f *field) slack(j int) int {
	mid := f.clip.rows / 2
	d := f.clip.pieces[j].first + f.clip.pieces[j].rows/2 - mid
	return int(math.Ceil(300e-6 * math.Abs(float64(d))))
}

// candidates finds the highest places of all pieces together.
func (f *field) candidates(most int) []Candidate {
	if len(f.pieces) == 0 {
		return nil
	}
	sum := make([]float64, len(f.pieces[0]))
	for j, p := range f.pieces {
		m := f.slack(j)
		for i := range sum {
			best := p[i]
			for k := max(0, i-m); k <= min(len(p)-1, i+m); k++ {
				best = max(best, p[k])
			}
			sum[i] += float64(best)
		}
	}
	scale := spreadOf(sum)
	var out []Candidate
	for len(out) < most {
		best := -1
		for i, v := range sum {
			if v > 0 && (best < 0 || v > sum[best]) {
				best = i
			}
		}
		if best < 0 {
			break
		}
		out = append(out, f.candidate(best, sum[best]/scale))
		for i := max(0, best-apart); i < min(len(sum), best+apart); i++ {
			sum[i] = 0
		}
	}
	return out
}

// spreadOf is the deviation of the places where nothing matches, from the
// median magnitude.
func spreadOf(v []float64) float64 {
	mag := make([]float64, 0, len(v)/3+1)
	for i := 0; i < len(v); i += 3 {
		if v[i] != 0 {
			mag = append(mag, math.Abs(v[i]))
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
	bestPiece, bestRow := 0, at
	var best float32
	for j, p := range f.pieces {
		m := f.slack(j) + 1
		for k := max(0, at-m); k <= min(len(p)-1, at+m); k++ {
			if p[k] > best {
				best, bestPiece, bestRow = p[k], j, k
			}
		}
	}
	p := f.clip.pieces[bestPiece]
	mid := (float64(p.first) + float64(p.rows)/2) / dsp.SketchRate
	return Candidate{At: mid, Sound: mid + float64(bestRow-f.clip.rows)/dsp.SketchRate, Score: score}
}
