package dsp

import "math"

// The measure of a sketch. One row of SketchBands bytes describes
// SketchHop samples at ProxyRate: 20 ms.
const (
	ProxyRate   = 16000 // Hz: the rate at which recordings are compared
	SketchBands = 12
	SketchHop   = 320 // samples of one row
	sketchSpan  = 512 // samples a row looks at
	SketchRate  = float64(ProxyRate) / SketchHop

	sketchLow  = 150.0  // Hz
	sketchHigh = 6400.0 // Hz
)

// A Sketch is a small coarse picture of a recording, comparable across
// devices: the level in SketchBands bands, row by row, in half decibels above
// -110 dB re full scale (0 = at or below that). Row i is centred on the middle
// of its hop: (i + ½)·SketchHop samples at ProxyRate from the start.
//
// It is read in parts, so that it need not be in memory: an hour has 2 MB.
type Sketch interface {
	// Rows returns the number of rows.
	Rows() int
	// ReadRows fills dst, a whole number of rows, with those from index first
	// on. Outside the recording there are zeros; first may be negative.
	ReadRows(dst []byte, first int) error
}

// SketchBytes is a Sketch held in memory, row after row.
type SketchBytes []byte

// Rows returns the number of rows.
func (s SketchBytes) Rows() int { return len(s) / SketchBands }

// ReadRows fills dst from row first on, zeros outside.
func (s SketchBytes) ReadRows(dst []byte, first int) error {
	clear(dst)
	at := first * SketchBands
	if at >= len(s) || at+len(dst) <= 0 {
		return nil
	}
	if at < 0 {
		dst, at = dst[-at:], 0
	}
	copy(dst, s[at:])
	return nil
}

// EachRow calls do with every row of a sketch, in order. A row is valid during
// the call.
func EachRow(s Sketch, do func(i int, row []byte)) error {
	return eachPart(s, func(first int, rows []byte) {
		for i := 0; i < len(rows); i += SketchBands {
			do(first+i/SketchBands, rows[i:i+SketchBands])
		}
	})
}

// eachPart calls do with all rows of a sketch, many at a time.
func eachPart(s Sketch, do func(first int, rows []byte)) error {
	const rows = 1024
	buf := make([]byte, rows*SketchBands)
	for first := 0; first < s.Rows(); first += rows {
		part := buf[:min(rows, s.Rows()-first)*SketchBands]
		if err := s.ReadRows(part, first); err != nil {
			return err
		}
		do(first, part)
	}
	return nil
}

// A Sketcher makes the rows of a Sketch from a stream of samples at ProxyRate.
type Sketcher struct {
	fft    *FFT
	coeff  []complex128
	window []float64
	edges  [SketchBands + 1]int
	hold   []float32 // the last samples, at most sketchSpan
	ready  []byte    // rows not taken yet
}

// NewSketcher returns a Sketcher at the start of a recording. Half a span of
// silence stands before the first sample, so that rows are centred.
func NewSketcher() *Sketcher {
	s := &Sketcher{
		fft:    NewFFT(sketchSpan),
		coeff:  make([]complex128, sketchSpan/2+1),
		window: make([]float64, sketchSpan),
		hold:   make([]float32, (sketchSpan-SketchHop)/2, sketchSpan),
	}
	for i := range s.window {
		s.window[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/sketchSpan)
	}
	for b := range s.edges {
		hz := sketchLow * math.Pow(sketchHigh/sketchLow, float64(b)/SketchBands)
		s.edges[b] = int(math.Round(hz * sketchSpan / ProxyRate))
	}
	for b := 1; b < len(s.edges); b++ { // the lowest bands hold at least one bin
		s.edges[b] = max(s.edges[b], s.edges[b-1]+1)
	}
	return s
}

// Write takes the next samples.
func (s *Sketcher) Write(block []float32) {
	for len(block) > 0 {
		n := min(sketchSpan-len(s.hold), len(block))
		s.hold = append(s.hold, block[:n]...)
		block = block[n:]
		if len(s.hold) == sketchSpan {
			s.row()
			s.hold = s.hold[:copy(s.hold, s.hold[SketchHop:])]
		}
	}
}

// Take returns the rows that are ready, whole ones, and forgets them. They are
// valid until the next Write.
func (s *Sketcher) Take() []byte {
	rows := s.ready
	s.ready = s.ready[:0]
	return rows
}

// Close ends the recording and returns the rows left to take. A last row that
// is less than half filled is left out.
func (s *Sketcher) Close() []byte {
	lead := (sketchSpan - SketchHop) / 2
	if len(s.hold) >= lead+SketchHop/2 {
		s.Write(make([]float32, sketchSpan-len(s.hold)))
	}
	return s.Take()
}

func (s *Sketcher) row() {
	Tapered(s.fft.Buffer(), s.hold, s.window)
	s.coeff = s.fft.Forward(s.coeff)
	// A full-scale sine gives (n/4)² in its bin's power under a Hann window.
	const full = (sketchSpan / 4) * (sketchSpan / 4)
	for b := 0; b < SketchBands; b++ {
		var power float64
		for _, c := range s.coeff[s.edges[b]:s.edges[b+1]] {
			power += real(c)*real(c) + imag(c)*imag(c)
		}
		s.ready = append(s.ready, halfDecibels(power/full))
	}
}

func halfDecibels(power float64) byte {
	if !(power > 1e-11) {
		return 0
	}
	v := 2 * (10*math.Log10(power) + 110)
	return byte(max(0, min(255, math.Round(v))))
}

// An Activity says how much stands out of a recording's noise, and where.
type Activity struct {
	Busy    float64 // seconds that stand out
	Busiest float64 // seconds: where the span begins in which most does
}

// ActivityOf looks through a sketch. span is that of Busiest, in seconds; where
// the recording is shorter, Busiest is 0.
//
// A row stands out when a quarter of its bands lie 10 dB or more above the
// level that a fifth of that band's rows stay under.
func ActivityOf(s Sketch, span float64) (Activity, error) {
	const above, bands = 20, SketchBands / 4 // half decibels
	levels, err := CountLevels(s)
	if err != nil {
		return Activity{}, err
	}
	var floor [SketchBands]int
	for b := range floor {
		floor[b] = int(levels.Under(b, 0.2)) + above
	}
	n := max(1, int(span*SketchRate))
	last := make([]bool, n) // whether the last n rows stood out, in a ring
	total, inside, most, best := 0, 0, -1, 0
	err = EachRow(s, func(i int, row []byte) {
		high := 0
		for b, v := range row {
			if int(v) >= floor[b] {
				high++
			}
		}
		out := high >= bands
		if last[i%n] {
			inside--
		}
		if last[i%n] = out; out {
			inside, total = inside+1, total+1
		}
		if i+1 >= n && inside > most {
			most, best = inside, i+1-n
		}
	})
	return Activity{float64(total) / SketchRate, float64(best) / SketchRate}, err
}

// SketchLevels counts how often each level stands in each band.
type SketchLevels [SketchBands][256]int

// CountLevels looks through a sketch.
func CountLevels(s Sketch) (*SketchLevels, error) {
	var l SketchLevels
	err := eachPart(s, func(_ int, rows []byte) {
		for ; len(rows) > 0; rows = rows[SketchBands:] {
			for b, v := range (*[SketchBands]byte)(rows) {
				l[b][v]++
			}
		}
	})
	return &l, err
}

// Under returns the level that a share q, under 1, of a band's rows stay
// under; 0 of no rows.
func (l *SketchLevels) Under(band int, q float64) byte {
	total := 0
	for _, c := range l[band] {
		total += c
	}
	seen := 0
	for v, c := range l[band] {
		if seen += c; float64(seen) > q*float64(total) {
			return byte(v)
		}
	}
	return 0
}
