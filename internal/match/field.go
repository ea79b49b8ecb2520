package match

import (
	"math"
	"slices"
	"sort"

	"earshot/internal/dsp"
)

// A field holds how well a clip fits at the offsets of a sound that are being
// looked at: index i is the offset base+i-rows(clip), in rows. Offsets that
// all pieces have been held at are settled and make room for later ones.
type field struct {
	clip  *Clip
	rows  int // offsets there are in all: those of the sound and the clip
	base  int
	sum   []float32 // over the pieces
	best  []float32 // the greatest of them
	piece []uint8   // which that is
	shift []int16   // and how many rows from i it stands

	spread spread
	tops   []top
	most   int
}

// fieldRow is the memory of one offset.
const fieldRow = 4 + 4 + 1 + 2

// newFieldRows is how many offsets are looked at at once.
func newFieldRows(c *Clip) int {
	if len(c.pieces) == 0 {
		return hop
	}
	return c.pieces[len(c.pieces)-1].first + hop
}

func newField(c *Clip, soundRows, most int) *field {
	n := newFieldRows(c)
	f := &field{clip: c, rows: c.rows + soundRows, most: most,
		sum: make([]float32, n), best: make([]float32, n), piece: make([]uint8, n), shift: make([]int16, n)}
	f.base = -piece + c.rows - (n - hop) // what the first block can reach
	f.spread.every = max(3, f.rows/20_000)
	return f
}

// add enters piece j: r[margin] is where the piece stands at row start of the
// sound, and hop rows from there on are for this call.
func (f *field) add(j int, r []float64, start int) {
	m := f.slack(j)
	from := start - f.clip.pieces[j].first + f.clip.rows
	lo, hi := max(0, -from), min(hop, f.rows-from)
	if lo >= hi {
		return
	}
	n, at := hi-lo, from+lo-f.base
	sum, best, piece, shift := f.sum[at:][:n], f.best[at:][:n], f.piece[at:][:n], f.shift[at:][:n]
	near := r[margin+lo-m:][:n+2*m]
	for i := range sum {
		about := near[i : i+2*m+1]
		top := about[0]
		for _, v := range about[1:] {
			if v > top {
				top = v
			}
		}
		sum[i] += float32(top)
		if float32(top) > best[i] {
			best[i], piece[i], shift[i] = float32(top), uint8(j), int16(slices.Index(about, top)-m)
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

// settle, after all pieces of a block were added, takes what there is to know
// from the offsets that no later block can change, and moves on.
func (f *field) settle() {
	f.pick(hop)
	f.base += hop
	slide(f.sum, hop)
	slide(f.best, hop)
	slide(f.piece, hop)
	slide(f.shift, hop)
}

// slide drops the first n values and puts zeros behind the rest.
func slide[T any](v []T, n int) {
	clear(v[copy(v, v[n:]):])
}

// A top is a place that stands out.
type top struct {
	at    int // offset, from the clip's end at the sound's beginning
	sum   float32
	piece uint8
	shift int16
}

// apart is how far two candidates must lie apart, in rows.
const apart = 15

// pick finds the highest of the first n offsets and holds them against those
// found before. The sums are used up.
func (f *field) pick(n int) {
	sum := f.sum[:n]
	f.spread.add(sum, f.base)
	// One more than is wanted: one near the end may fall to a higher one after it.
	for range f.most + 1 {
		best := 0
		for i, v := range sum {
			if v > sum[best] {
				best = i
			}
		}
		if sum[best] <= 0 {
			break
		}
		f.keep(top{f.base + best, sum[best], f.piece[best], f.shift[best]})
		clear(sum[max(0, best-apart):min(n, best+apart)])
	}
}

// keep enters a top unless a higher one stands near, and drops those near that
// are lower. The tops stand highest first.
func (f *field) keep(t top) {
	tops := f.tops[:0]
	for _, o := range f.tops {
		near := o.at > t.at-apart && o.at < t.at+apart
		if near && o.sum >= t.sum {
			return
		}
		if !near {
			tops = append(tops, o)
		}
	}
	f.tops = append(tops, t)
	sort.SliceStable(f.tops, func(i, j int) bool { return f.tops[i].sum > f.tops[j].sum })
	f.tops = f.tops[:min(len(f.tops), 2*f.most)]
}

// candidates ends the field.
func (f *field) candidates() []Candidate {
	f.pick(len(f.sum))
	scale := deviation(f.spread.mag)
	out := make([]Candidate, min(len(f.tops), f.most))
	for i := range out {
		out[i] = f.candidate(f.tops[i], scale)
	}
	return out
}

// candidate names a place by the piece that stands out most there.
func (f *field) candidate(t top, scale float64) Candidate {
	p := f.clip.pieces[t.piece]
	mid := (float64(p.first) + float64(p.rows)/2) / f.clip.grain.rate()
	offset := float64(t.at+int(t.shift)-f.clip.rows) / f.clip.grain.rate()
	return Candidate{At: mid, Sound: mid + offset, Score: float64(t.sum) / scale}
}

// A spread gathers how high the places stand where nothing matches: one in so
// many of all.
type spread struct {
	every int
	mag   []float64
}

func (s *spread) add(sum []float32, base int) {
	first := (s.every - base%s.every) % s.every
	for i := first; i < len(sum); i += s.every {
		if sum[i] != 0 {
			s.mag = append(s.mag, math.Abs(float64(sum[i])))
		}
	}
}

// deviation of places where nothing matches, from how high they stand.
func deviation[T float32 | float64](mag []T) T {
	if len(mag) == 0 {
		return 1
	}
	return max(dsp.Deviation(mag), 1e-9)
}
