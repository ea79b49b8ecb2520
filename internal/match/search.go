package match

import (
	"math"
	"sync"

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
	longest    = 7500 // of a piece, 150 s or 300: what 300 ppm shift by a row either way
	block      = 32768
	hop        = block - longest // of a sound, from block to block
	mostPieces = 8               // of one clip
)

// A Clip is a clip's sketch, cut in pieces so long that one or two cover it, and
// transformed, ready to be looked for. It is read-only after NewClip and may be
// shared.
type Clip struct {
	grain  Grain
	pieces []piece
}

type piece struct {
	first, rows int
	energy      float64
	spectrum    [][]complex64
}

// NewClip prepares a clip's sketch; at the half grain, what Halve made of it.
func NewClip(rows dsp.Sketch, g Grain) (*Clip, error) {
	f, err := newFeature(rows, g)
	if err != nil {
		return nil, err
	}
	c, v := &Clip{grain: g}, newView(f)
	defer v.free()
	for _, first := range spreadPieces(f.rows) {
		p := piece{first: first, rows: min(longest, f.rows-first)}
		if err := v.read(first, 0, p.rows); err != nil {
			return nil, err
		}
		if p.energy = v.energy[p.rows]; p.energy == 0 {
			continue
		}
		for _, band := range v.band {
			p.spectrum = append(p.spectrum, transform(v.fft, band, v.wide, nil))
		}
		c.pieces = append(c.pieces, p)
	}
	return c, nil
}

// Bytes returns about how much memory c takes.
func (c *Clip) Bytes() int { return len(c.pieces) * c.grain.bands() * (block/2 + 1) * 8 }

// Cost is about what a search for a clip in a sound takes, both in rows of a
// sketch. A core does some sixty thousand a second.
func (g Grain) Cost(clipRows, soundRows int) int {
	const transforms = 10 // what they take, in bands
	blocks := (soundRows/g.step+longest)/hop + 1
	return len(spreadPieces(clipRows/g.step)) * blocks * (transforms + g.bands())
}

// spreadPieces spreads at most mostPieces pieces over all rows of a clip; they
// touch where that is short enough.
func spreadPieces(rows int) []int {
	if rows <= longest {
		return []int{0}
	}
	n := min(mostPieces, (rows+longest-1)/longest)
	starts := make([]int, n)
	for i := range starts {
		starts[i] = (rows - longest) * i / (n - 1)
	}
	return starts
}

// transform puts the spectrum of a band into dst by way of wide; a nil dst makes
// a new one.
func transform(fft *dsp.FFT, band []float32, wide []complex128, dst []complex64) []complex64 {
	dsp.Widened(fft.Buffer(), band)
	if dst == nil {
		dst = make([]complex64, len(wide))
	}
	dsp.Narrowed(dst, fft.Forward(wide))
	return dst
}

// A view is a block of a recording.
type view struct {
	feature  *feature
	band     stretch
	energy   []float64 // running sum of squares over all bands
	fft      *dsp.FFT
	wide     []complex128
	spectrum [][]complex64 // of each band, once transformed
}

// views are those that nobody uses: a view takes three megabytes.
var views sync.Pool

func newView(f *feature) *view {
	v, _ := views.Get().(*view)
	if bands := f.grain.bands(); v == nil || len(v.band) != bands {
		v = &view{band: newStretch(bands, block), energy: make([]float64, block+1),
			fft: dsp.NewFFT(block), wide: make([]complex128, block/2+1), spectrum: make([][]complex64, bands)}
	}
	v.feature = f
	return v
}

func (v *view) free() {
	v.feature = nil
	views.Put(v)
}

// read fills the view with rows from first on, and zeros behind them. The first
// known of them are there already.
func (v *view) read(first, known, rows int) error {
	part := make(stretch, len(v.band))
	for b, band := range v.band {
		part[b] = band[known:rows]
		clear(band[rows:])
	}
	if err := v.feature.read(part, first+known); err != nil {
		return err
	}
	v.band.energy(v.energy)
	return nil
}

// Search looks for every clip, all of one Grain, in one sound, its sketch or what
// Halve made of it, and returns, for each, up to most candidates, best first. The
// sound is gone through block by block: memory does not grow with its length.
func Search(clips []*Clip, sound dsp.Sketch, most int) ([][]Candidate, error) {
	if len(clips) == 0 {
		return nil, nil
	}
	s, err := newSearcher(sound, clips[0].grain)
	if err != nil {
		return nil, err
	}
	defer s.free()
	every := max(3, (s.rows+longest)/spreadFrom)
	found := make([][]hits, len(clips))
	for i, c := range clips {
		found[i] = make([]hits, len(c.pieces))
		for j := range found[i] {
			found[i][j] = hits{most: most, every: every, least: leastTop}
		}
	}
	for start := -longest; start < s.rows; start += hop {
		if ok, err := s.load(start); err != nil {
			return nil, err
		} else if !ok {
			continue
		}
		for i, c := range clips {
			for j := range c.pieces {
				s.hold(&c.pieces[j], &found[i][j])
			}
		}
	}
	out := make([][]Candidate, len(clips))
	for i, c := range clips {
		out[i] = c.candidates(found[i], most)
	}
	return out, nil
}

// A searcher looks through one sound.
type searcher struct {
	*view
	rows int

	// The block loaded:
	seen     float64 // energy of the blocks so far
	seenRows int     // and how many rows they held
	start    int     // its first row
	mean     float64 // energy of a row of the blocks so far
}

func newSearcher(sound dsp.Sketch, g Grain) (*searcher, error) {
	f, err := newFeature(sound, g)
	if err != nil {
		return nil, err
	}
	return &searcher{view: newView(f), rows: f.rows}, nil
}

// load makes the block that begins at row start ready. It reports false when
// nothing is to be heard in it.
func (s *searcher) load(start int) (bool, error) {
	known := 0
	if start == s.start+hop { // the last block's end is this one's beginning
		for _, band := range s.band {
			known = copy(band, band[hop:])
		}
	}
	s.start = start
	if err := s.read(start, known, block); err != nil {
		return false, err
	}
	if s.energy[block] == 0 {
		return false, nil
	}
	s.seen += s.energy[block]
	s.seenRows += min(start+block, s.rows) - max(start, 0)
	s.mean = s.seen / float64(max(1, s.seenRows))
	for b := range s.spectrum {
		s.spectrum[b] = transform(s.fft, s.band[b], s.wide, s.spectrum[b])
	}
	return true, nil
}

// hold holds a piece against every row of the block that has room for it, and
// where it lies in the sound at least in part. How high it stands there is its
// correlation over the root of both energies, times that of how many values went
// in: unrelated places then have about unit variance.
func (s *searcher) hold(p *piece, found *hits) {
	dsp.Products(s.wide, p.spectrum, s.spectrum)
	lo, hi := max(0, 1-s.start-p.rows), min(hop, s.rows-s.start)
	if lo >= hi {
		return
	}
	r := s.fft.Inverse(s.wide)
	values := float64(p.rows * s.feature.grain.bands())
	floor := 0.25 * s.mean * float64(p.rows)
	square := func(i int) float64 { // of the height, with the height's sign
		return r[i] * math.Abs(r[i]) * values / (p.energy * math.Max(s.energy[i+p.rows]-s.energy[i], floor))
	}
	for i := lo + ((-s.start-lo)%found.every+found.every)%found.every; i < hi; i += found.every {
		found.mag = append(found.mag, float32(math.Sqrt(math.Abs(square(i)))))
	}
	least := found.worth() * p.energy / values
	atLeast := math.Sqrt(least * floor)
	here, before := s.energy[p.rows:][lo:hi], s.energy[lo:hi]
	for i, v := range r[lo:hi] {
		if v > atLeast && v*v > least*max(here[i]-before[i], floor) {
			found.keep(top{at: s.start + lo + i - p.first, height: float32(math.Sqrt(square(lo + i)))})
			least = found.worth() * p.energy / values
			atLeast = math.Sqrt(least * floor)
		}
	}
}
