package align

import (
	"cmp"
	"math"
	"slices"

	"earshot/internal/dsp"
)

// A Voice says where in a sound a match holds: in what is loudest there, which
// on a body mic is its wearer's voice, or in what is left, which anything that
// plays in the room may fill. Two recordings of one moment agree most where
// the sound is loudest, for there the camera hears it best. Where the same
// music plays behind other talk they agree between the words only.
//
// The figures are squared coherences (0 to 1, Carter 1987, "Coherence and time
// delay estimation"), of phases alone, without bias: nought is what unrelated
// sounds have, and single values lie around it on both sides.
type Voice struct {
	Coherence [Ranks]float64 // the loudest first
	Sigma     [Ranks]float64 // standard deviation of each where nothing agrees

	// Even says whether all that is loud agrees alike: how far a tenth of the
	// loudest tiles, of a quarter of a second and a quarter of the band, agree at
	// the most, over what a quarter of them reach. Where some is talk that the
	// other did not hear and some is music that it did, it is small.
	Even float64

	// Steady says how much of what is loud is held tones: the correlation of the
	// fine structure of its spectrum with that of a quarter of a second later,
	// in the median. Talk is never still and stays near nought.
	Steady float64
}

// Leads says how far the loudest agrees more than what comes next, 2 sigma
// taken off, times Even where it is not twice as much. Recordings of one moment
// seldom come under 0.6; music shared behind other talk stays under 0.45 while
// it is some 6 dB under the talk at the body mic (docs/accuracy.md).
//
// Cloth that rubs on a body mic is loud and no other microphone hears it: some of
// what is loud then agrees little. Where it holds no tones it is no music that
// makes the rest agree, and Even counts for less: of the meetings of different
// moments in that trial, none whose loudest agrees more than half as much as what
// comes next is as little steady.
func (v *Voice) Leads() float64 {
	const still, less = 0.06, 0.2
	next := math.Max(v.Coherence[1], 2*v.Sigma[1])
	lead := math.Max(0, v.Coherence[0]-2*v.Sigma[0]) / next
	if !(lead < 2) || math.IsInf(v.Sigma[0], 1) {
		return 2
	}
	even := lead * math.Max(0, math.Min(1, v.Even))
	if v.Steady < still {
		return math.Max(even, lead-less)
	}
	return even
}

// Ranks is how many ranks of loudness there are.
const Ranks = 4

// rankEnds are the shares of the frames, loudest first, at which ranks end.
var rankEnds = [Ranks]float64{0.05, 0.2, 0.5, 1}

// How a voice is listened to.
const (
	voiceFrame  = 1024 // samples: 64 ms
	voiceHop    = voiceFrame / 2
	voiceBlock  = 64000 // samples over which the phases of a bin must stay together
	voiceBlocks = 24    // at most
	voiceBands  = 20
	voiceLow    = 200.0  // Hz
	voiceHigh   = 6000.0 // Hz
)

// Listen compares clip and sound along what was found, frame by frame.
func Listen(clip, sound Source, f *Found) (*Voice, error) {
	l := newListener()
	size := min(voiceBlock, int((f.To-f.From)*dsp.ProxyRate))
	size -= size % voiceHop
	if size < 4*voiceFrame {
		return nil, nil
	}
	width := float64(size) / dsp.ProxyRate
	n := max(1, min(voiceBlocks, int((f.To-f.From)/width)))
	for i := range n {
		at := f.From
		if n > 1 {
			at += (f.To - f.From - width) * float64(i) / float64(n-1)
		}
		if n > 1 && f.parted(at, at+width) {
			continue
		}
		if err := l.block(clip, sound, f.LineAt(at+width/2), int(math.Round(at*dsp.ProxyRate)), size); err != nil {
			return nil, err
		}
	}
	if len(l.blocks) == 0 {
		return nil, nil
	}
	return l.voice(), nil
}

// parted tells whether the sound jumps between two clip times.
func (f *Found) parted(from, to float64) bool {
	for _, s := range f.Spans {
		if s.Lost != 0 && s.From > from && s.From < to {
			return true
		}
	}
	return false
}

// Beyond says by how many deviations what comes after the loudest twentieth
// agrees: near nought where a clap or two is all that does.
func (v *Voice) Beyond() float64 {
	if math.IsInf(v.Sigma[1], 1) {
		return 0
	}
	return v.Coherence[1] / v.Sigma[1]
}

// A listener gathers the frames of both recordings.
type listener struct {
	fft    *dsp.FFT
	taper  []float64
	edges  [voiceBands + 1]int
	x, y   []complex128
	blocks [][]cell // of each block, its cells: frame by frame, all bins from edges[0] on
	levels [voiceBands][]float32
	fine   [][]float32 // the fine structure of the block's frames
	logs   []float64   // what it is worked out in
	steady []steadyFrame
}

// A cell is one bin of one frame: the turn from clip to sound.
type cell complex64

func newListener() *listener {
	l := &listener{fft: dsp.NewFFT(voiceFrame), taper: make([]float64, voiceFrame)}
	for i := range l.taper {
		l.taper[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/voiceFrame)
	}
	for b := range l.edges {
		hz := voiceLow * math.Pow(voiceHigh/voiceLow, float64(b)/voiceBands)
		l.edges[b] = int(math.Round(hz * voiceFrame / dsp.ProxyRate))
		if b > 0 {
			l.edges[b] = max(l.edges[b], l.edges[b-1]+2)
		}
	}
	return l
}

func (l *listener) bins() int { return l.edges[voiceBands] - l.edges[0] }

// block takes size samples of clip from first on, and the sound along line.
func (l *listener) block(clip, sound Source, line Alignment, first, size int) error {
	a, b := make([]float32, size), make([]float32, size)
	if err := clip.ReadAt(a, first); err != nil {
		return err
	}
	if _, err := readAlong(sound, b, line, first); err != nil {
		return err
	}
	frames := (size-voiceFrame)/voiceHop + 1
	l.fine = l.fine[:0]
	cells := make([]cell, 0, frames*l.bins())
	for i := range frames {
		l.x = l.spectrum(l.x, a[i*voiceHop:][:voiceFrame])
		l.y = l.spectrum(l.y, b[i*voiceHop:][:voiceFrame])
		l.hold()
		for band := range voiceBands {
			level := 0.0
			for k := l.edges[band]; k < l.edges[band+1]; k++ {
				g := complex(real(l.x[k]), -imag(l.x[k])) * l.y[k]
				level += real(l.y[k])*real(l.y[k]) + imag(l.y[k])*imag(l.y[k])
				m, turn := real(g)*real(g)+imag(g)*imag(g), 0.0
				if m > 1e-40 {
					turn = 1 / math.Sqrt(m)
				}
				cells = append(cells, cell(complex(turn*real(g), turn*imag(g))))
			}
			l.levels[band] = append(l.levels[band], float32(level))
		}
	}
	l.blocks = append(l.blocks, cells)
	return nil
}

func (l *listener) spectrum(dst []complex128, samples []float32) []complex128 {
	dsp.Tapered(l.fft.Buffer(), samples, l.taper)
	return l.fft.Forward(dst)
}

// voice sums up what was gathered.
func (l *listener) voice() *Voice {
	var all [Ranks]excess
	frame := 0 // of all
	ends := l.ends()
	for _, cells := range l.blocks {
		for band := range voiceBands {
			l.addRanks(&all, cells, band, l.levels[band][frame:], ends[band])
		}
		frame += len(cells) / l.bins()
	}
	v := &Voice{Even: l.even(ends), Steady: l.held()}
	for r, e := range all {
		v.Sigma[r] = math.Inf(1)
		if e.pairs > 0 {
			v.Coherence[r], v.Sigma[r] = e.sum/e.pairs, 1/math.Sqrt(e.pairs)
		}
	}
	return v
}

// An excess is by how much the squared sums of cells exceed what cells of no
// common phase would give, and over how many pairs of them: n cells have the
// sum n² where they agree and about n, with a deviation of about n, where not.
type excess struct{ sum, pairs float64 }

// addRanks adds a band of one block: its cells' sums over time, bin by bin, for
// each rank of the band's level.
func (l *listener) addRanks(all *[Ranks]excess, cells []cell, band int, levels []float32, ends [Ranks - 1]float32) {
	from, width := l.edges[band]-l.edges[0], l.edges[band+1]-l.edges[band]
	var sums [Ranks][]complex128
	var count [Ranks]float64
	for r := range sums {
		sums[r] = make([]complex128, width)
	}
	for i := range len(cells) / l.bins() {
		r := 0
		for r < Ranks-1 && levels[i] < ends[r] {
			r++
		}
		count[r]++
		for k, c := range cells[i*l.bins()+from:][:width] {
			sums[r][k] += complex128(c)
		}
	}
	for r := range sums {
		for _, s := range sums[r] {
			all[r].sum += real(s)*real(s) + imag(s)*imag(s) - count[r]
			all[r].pairs += count[r] * (count[r] - 1)
		}
	}
}

// A tile is some frames of some bands.
type tile struct{ level, agree float64 }

// What a tile is, and which of them are looked at.
const (
	tileFrames = 8
	tileBands  = voiceBands / 4
	loudTiles  = 5 // one in so many
)

// even works out Voice.Even. How a tile agrees is told by the phases that the
// louder half of its block has, bin by bin, the tile itself left out.
func (l *listener) even(ends [voiceBands][Ranks - 1]float32) float64 {
	var mean [voiceBands]float64
	for b := range mean {
		for _, x := range l.levels[b] {
			mean[b] += float64(x) / float64(len(l.levels[b]))
		}
	}
	var sum, weight float64
	for first := 0; first < voiceBands; first += tileBands {
		var tiles []tile
		frame := 0
		for _, cells := range l.blocks {
			frames := len(cells) / l.bins()
			tiles = append(tiles, l.row(cells, frame, frames, first, ends, mean)...)
			frame += frames
		}
		low, high := spanOf(tiles)
		chance := 1 / math.Sqrt(float64(2*tileFrames*(l.edges[first+tileBands]-l.edges[first])))
		if high > heardTile*chance {
			sum, weight = sum+high*math.Max(0, low/high), weight+high
		}
	}
	if weight == 0 {
		return 0
	}
	return sum / weight
}

// heardTile is how far a quarter of the loud tiles of some bands must agree for
// these bands to count, over what chance gives: a recorder that keeps nothing
// of them says nothing there.
const heardTile = 2.5

// spanOf returns how far a tenth of the loudest tiles agree at the most, and a
// quarter at the least.
func spanOf(tiles []tile) (low, high float64) {
	slices.SortFunc(tiles, func(a, b tile) int { return cmp.Compare(b.level, a.level) })
	var loud []float64
	for _, t := range tiles[:(len(tiles)+loudTiles-1)/loudTiles] {
		loud = append(loud, t.agree)
	}
	slices.Sort(loud)
	if len(loud) == 0 {
		return 0, 0
	}
	return loud[len(loud)/10], loud[len(loud)*3/4]
}

// row makes the tiles of one block in the bands from first on.
func (l *listener) row(cells []cell, frame, frames, first int, ends [voiceBands][Ranks - 1]float32, mean [voiceBands]float64) []tile {
	tiles := make([]tile, frames/tileFrames)
	for band := first; band < first+tileBands; band++ {
		levels := l.levels[band][frame : frame+frames]
		for i := range len(tiles) * tileFrames {
			tiles[i/tileFrames].level += math.Log(float64(levels[i])/math.Max(mean[band], 1e-30) + 1e-3)
		}
		l.agreement(tiles, cells, band, levels, ends[band][Ranks-2])
	}
	width := float64((l.edges[first+tileBands] - l.edges[first]) * tileFrames)
	for t := range tiles {
		tiles[t].agree /= width
	}
	return tiles
}

// agreement adds to the tiles how their cells of a band agree with those of its
// frames from level least on that lie in other tiles.
func (l *listener) agreement(tiles []tile, cells []cell, band int, levels []float32, least float32) {
	from, width := l.edges[band]-l.edges[0], l.edges[band+1]-l.edges[band]
	total := make([]complex128, width)
	own, loud := make([]complex128, (len(tiles)+1)*width), make([]complex128, (len(tiles)+1)*width) // and of the frames behind the tiles
	for i, level := range levels {
		row, at := cells[i*l.bins()+from:][:width], min(i/tileFrames, len(tiles))*width
		tile := own[at:][:width]
		for k, c := range row {
			tile[k] += complex128(c)
		}
		if level < least {
			continue
		}
		tile = loud[at:][:width]
		for k, c := range row {
			total[k] += complex128(c)
			tile[k] += complex128(c)
		}
	}
	for k, all := range total {
		for t := range tiles {
			if h := all - loud[t*width+k]; h != 0 {
				o := own[t*width+k]
				tiles[t].agree += (real(o)*real(h) + imag(o)*imag(h)) / math.Sqrt(real(h)*real(h)+imag(h)*imag(h))
			}
		}
	}
}

// ends are the levels at which a band's ranks end.
func (l *listener) ends() (ends [voiceBands][Ranks - 1]float32) {
	for b := range ends {
		sorted := slices.Clone(l.levels[b])
		slices.Sort(sorted)
		for r := range ends[b] {
			ends[b][r] = sorted[min(len(sorted)-1, int(float64(len(sorted))*(1-rankEnds[r])))]
		}
	}
	return ends
}
