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
type Sketch []byte

// Rows returns the number of rows.
func (s Sketch) Rows() int { return len(s) / SketchBands }

// Row returns row i; it shares memory with s.
func (s Sketch) Row(i int) []byte { return s[i*SketchBands : (i+1)*SketchBands] }

// A Sketcher makes a Sketch from a stream of samples at ProxyRate.
type Sketcher struct {
	fft    *FFT
	coeff  []complex128
	window []float64
	edges  [SketchBands + 1]int
	hold   []float32 // the last samples, at most sketchSpan
	sketch Sketch
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

// Close returns the sketch of all that was written. A last row that is less
// than half filled is left out.
func (s *Sketcher) Close() Sketch {
	lead := (sketchSpan - SketchHop) / 2
	if len(s.hold) >= lead+SketchHop/2 {
		s.Write(make([]float32, sketchSpan-len(s.hold)))
	}
	return s.sketch
}

func (s *Sketcher) row() {
	buf := s.fft.Buffer()
	for i, v := range s.hold {
		buf[i] = float64(v) * s.window[i]
	}
	s.coeff = s.fft.Forward(s.coeff)
	// A full-scale sine gives (n/4)² in its bin's power under a Hann window.
	const full = (sketchSpan / 4) * (sketchSpan / 4)
	for b := 0; b < SketchBands; b++ {
		var power float64
		for _, c := range s.coeff[s.edges[b]:s.edges[b+1]] {
			power += real(c)*real(c) + imag(c)*imag(c)
		}
		s.sketch = append(s.sketch, halfDecibels(power/full))
	}
}

func halfDecibels(power float64) byte {
	if !(power > 1e-11) {
		return 0
	}
	v := 2 * (10*math.Log10(power) + 110)
	return byte(max(0, min(255, math.Round(v))))
}

// Busy returns how many seconds of the recording stand out of its noise.
func (s Sketch) Busy() float64 {
	busy := s.busyRows()
	return float64(busy[len(busy)-1]) / SketchRate
}

// Busiest returns where, between from and to, the stretch of span seconds
// begins in which most stands out of the noise, in seconds.
func (s Sketch) Busiest(from, to, span float64) float64 {
	busy := s.busyRows()
	n := int(span * SketchRate)
	best, most := int(from*SketchRate), -1
	for i := best; i+n <= min(int(to*SketchRate), len(busy)-1); i++ {
		if b := busy[i+n] - busy[i]; b > most {
			best, most = i, b
		}
	}
	return float64(best) / SketchRate
}

// busyRows counts, up to each row, the rows in which a quarter of the bands lie
// 10 dB or more above the level that a fifth of that band's rows stay under.
func (s Sketch) busyRows() []int {
	const above, bands = 20, SketchBands / 4 // half decibels
	floor := make([]byte, SketchBands)
	for b := range floor {
		floor[b] = s.quantile(b, 0.2)
	}
	sum := make([]int, s.Rows()+1)
	for i := range s.Rows() {
		n := 0
		for b, v := range s.Row(i) {
			if int(v) >= int(floor[b])+above {
				n++
			}
		}
		sum[i+1] = sum[i]
		if n >= bands {
			sum[i+1]++
		}
	}
	return sum
}

// quantile is the level that a share q of a band's rows stay under.
func (s Sketch) quantile(band int, q float64) byte {
	var count [256]int
	for i := band; i < len(s); i += SketchBands {
		count[s[i]]++
	}
	seen := 0
	for v, c := range count {
		if seen += c; float64(seen) > q*float64(s.Rows()) {
			return byte(v)
		}
	}
	return 255
}
