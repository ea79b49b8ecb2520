package match

import (
	"math"
	"sort"

	"earshot/internal/dsp"
)

// A Glance is a clip's sketch made ready for a first look at much sound: the
// bands added up four by four, two rows made one, and pieces of it so long that
// one or two cover a clip. It costs a fifteenth or less of the full search and
// finds what stands out of it by a factor of three: what a glance does not find
// may still be there. It is read-only after NewGlance and may be shared.
type Glance struct {
	pieces []glancePiece
}

type glancePiece struct {
	first, rows int
	energy      float64
	spectrum    [glanceBands][]complex64
}

// Lengths in rows of glanceGrain.
const (
	glanceBands = 3
	glancePart  = 7500 // 300 s: what 300 ppm shift by a row either way
	glanceBlock = 32768
	glanceHop   = glanceBlock - glancePart
)

// NewGlance prepares a clip's sketch.
func NewGlance(s dsp.Sketch) (*Glance, error) {
	f, err := newFeature(s, glanceGrain)
	if err != nil {
		return nil, err
	}
	g, rows := &Glance{}, f.rows
	v := newView(f)
	for _, first := range spreadPieces(rows, glancePart) {
		p := glancePiece{first: first, rows: min(glancePart, rows-first)}
		if err := v.read(first, p.rows); err != nil {
			return nil, err
		}
		if p.energy = v.energy[p.rows]; p.energy == 0 {
			continue
		}
		for b := range p.spectrum {
			p.spectrum[b] = transform(v.fft, v.band[b], v.wide, nil)
		}
		g.pieces = append(g.pieces, p)
	}
	return g, nil
}

// Bytes returns about how much memory g takes.
func (g *Glance) Bytes() int { return len(g.pieces) * glanceBands * (glanceBlock/2 + 1) * 8 }

// A view is a part of a recording as a glance sees it.
type view struct {
	feature *feature
	band    stretch
	energy  []float64 // running sum of squares over all bands
	fft     *dsp.FFT
	wide    []complex128
}

func newView(f *feature) *view {
	return &view{feature: f, band: newStretch(glanceBands, glanceBlock), energy: make([]float64, glanceBlock+1),
		fft: dsp.NewFFT(glanceBlock), wide: make([]complex128, glanceBlock/2+1)}
}

// read fills the view with rows from first on, and zeros behind them.
func (v *view) read(first, rows int) error {
	part := make(stretch, glanceBands)
	for b, band := range v.band {
		part[b] = band[:rows]
		clear(band[rows:])
	}
	if err := v.feature.read(part, first); err != nil {
		return err
	}
	v.band.energy(v.energy)
	return nil
}

// Look glances at one sound for every clip and returns, for each, up to most
// candidates, best first. Memory does not grow with the sound's length.
func Look(clips []*Glance, sound dsp.Sketch, most int) ([][]Candidate, error) {
	f, err := newFeature(sound, glanceGrain)
	if err != nil {
		return nil, err
	}
	l := &looker{view: newView(f), rows: f.rows}
	l.norms = newNorms[float32](glanceBands, l.rows, glanceHop, l.energy)
	every := max(3, (l.rows+glancePart)/glanceSamples)
	hits := make([][]glanceHits, len(clips))
	for i, c := range clips {
		hits[i] = make([]glanceHits, len(c.pieces))
		for j := range hits[i] {
			hits[i][j] = glanceHits{most: most, every: every, least: glanceLeast}
		}
	}
	for start := -glancePart; start < l.rows; start += glanceHop {
		if ok, err := l.load(start); err != nil {
			return nil, err
		} else if !ok {
			continue
		}
		for i, c := range clips {
			for j := range c.pieces {
				l.hold(&c.pieces[j], &hits[i][j])
			}
		}
	}
	out := make([][]Candidate, len(clips))
	for i, c := range clips {
		out[i] = c.candidates(hits[i], most)
	}
	return out, nil
}

// A looker glances at one sound.
type looker struct {
	*view
	rows int

	// The block loaded:
	seen     float64 // energy of the blocks so far
	seenRows int     // and how many rows they held
	spectrum [glanceBands][]complex64
	norms    *norms[float32] // by the energy of the blocks so far
}

// load makes the block that begins at row start ready. It reports false when
// nothing is to be heard in it.
func (l *looker) load(start int) (bool, error) {
	l.norms.start = start
	if err := l.read(start, glanceBlock); err != nil {
		return false, err
	}
	if l.energy[glanceBlock] == 0 {
		return false, nil
	}
	l.seen += l.energy[glanceBlock]
	l.seenRows += min(start+glanceBlock, l.rows) - max(start, 0)
	l.norms.mean = l.seen / float64(max(1, l.seenRows))
	for b := range l.spectrum {
		l.spectrum[b] = transform(l.fft, l.band[b], l.wide, l.spectrum[b])
	}
	return true, nil
}

// hold holds a piece against every row of the block that has room for it.
func (l *looker) hold(p *glancePiece, hits *glanceHits) {
	n := len(l.wide)
	x0, x1, x2 := p.spectrum[0][:n], p.spectrum[1][:n], p.spectrum[2][:n]
	y0, y1, y2 := l.spectrum[0][:n], l.spectrum[1][:n], l.spectrum[2][:n]
	for k := range l.wide {
		l.wide[k] = product(x0[k], y0[k], x1[k], y1[k], x2[k], y2[k])
	}
	r, norm := l.fft.Inverse(l.wide)[:glanceHop], l.norms.of(p.rows)
	scale := float32(1 / math.Sqrt(p.energy))
	hits.sample(r, norm, scale, l.norms.start)
	least := hits.least
	for i, v := range norm {
		if h := float32(r[i]) * v * scale; h > least {
			hits.keep(top{at: l.norms.start + i - p.first, sum: h})
			least = hits.least
		}
	}
}

// glanceHits are the places of one sound at which a piece stands out.
type glanceHits struct {
	most, every int
	least       float32 // a place must stand higher
	tops        []top
	mag         []float32 // how high places stand, one in every
}

const (
	glanceSamples = 2048 // how many places the spread is told from
	glanceApart   = 15   // rows by which two places differ
	glanceLeast   = 3    // about so many standard deviations a place must show at all
)

func (h *glanceHits) sample(r []float64, norm []float32, scale float32, start int) {
	first := ((-start)%h.every + h.every) % h.every
	for i := first; i < len(norm); i += h.every {
		if norm[i] != 0 {
			h.mag = append(h.mag, float32(math.Abs(r[i]))*norm[i]*scale)
		}
	}
}

// keep enters a place unless a higher one stands near. The places stand
// highest first.
func (h *glanceHits) keep(t top) {
	h.tops = insert(h.tops, t, glanceApart, 2*h.most)
	h.least = glanceLeast
	if len(h.tops) == 2*h.most {
		h.least = max(h.least, h.tops[len(h.tops)-1].sum)
	}
}

// insert enters t into tops, the highest first and at most so many, unless a
// higher one stands near; lower ones that stand near make way.
func insert(tops []top, t top, apart, most int) []top {
	out := tops[:0]
	for _, o := range tops {
		near := o.at > t.at-apart && o.at < t.at+apart
		if near && o.sum >= t.sum {
			return tops
		}
		if !near {
			out = append(out, o)
		}
	}
	out = append(out, t)
	sort.SliceStable(out, func(i, j int) bool { return out[i].sum > out[j].sum })
	return out[:min(len(out), most)]
}

// candidates puts together what a clip's pieces found.
func (g *Glance) candidates(hits []glanceHits, most int) []Candidate {
	var tops []top
	for j := range hits {
		dev := deviation(hits[j].mag)
		for _, t := range hits[j].tops {
			tops = insert(tops, top{t.at, t.sum / dev, uint8(j), 0}, glanceApart, most)
		}
	}
	out := make([]Candidate, len(tops))
	for i, t := range tops {
		p := &g.pieces[t.piece]
		mid := (float64(p.first) + float64(p.rows)/2) / glanceGrain.rate()
		out[i] = Candidate{At: mid, Sound: mid + float64(t.at)/glanceGrain.rate(), Score: float64(t.sum)}
	}
	return out
}
