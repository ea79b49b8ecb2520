package dsp_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"earshot/internal/dsp"
)

func sketchOf(x []float32, block int) dsp.Sketch {
	s := dsp.NewSketcher()
	for i := 0; i < len(x); i += block {
		s.Write(x[i:min(len(x), i+block)])
	}
	return s.Close()
}

// A full-scale sine of 1 kHz reads 0 dB, less what its window spreads over
// neighbouring bins (a Hann window's main lobe holds 1.5 bins of noise:
// +1.76 dB, Harris 1978), in one band and far less in the others.
func TestSketchOfASine(t *testing.T) {
	x := make([]float32, dsp.ProxyRate)
	for i := range x {
		x[i] = float32(math.Sin(2 * math.Pi * 1000 * float64(i) / dsp.ProxyRate))
	}
	s := sketchOf(x, len(x))
	if s.Rows() != 50 {
		t.Fatalf("%d rows of a second, want 50", s.Rows())
	}
	row := s.Row(25)
	best := 0
	for b, v := range row {
		if v > row[best] {
			best = b
		}
	}
	if db := float64(row[best])/2 - 110; math.Abs(db-1.76) > 0.6 {
		t.Errorf("a full-scale sine reads %.1f dB, want 1.8", db)
	}
	for b, v := range row {
		if d := int(row[best]) - int(v); b < best-1 && d < 60 || b > best+1 && d < 60 {
			t.Errorf("band %d lies only %.1f dB under band %d", b, float64(d)/2, best)
		}
	}
}

// A row is centred on its hop: a click shows most in the row it lies in.
func TestSketchRowsAreCentred(t *testing.T) {
	for _, row := range []int{0, 1, 17, 48} {
		x := make([]float32, dsp.ProxyRate)
		x[row*dsp.SketchHop+dsp.SketchHop/2] = 1
		s := sketchOf(x, 1000)
		best := 0
		for i := range s.Rows() {
			if s.Row(i)[6] > s.Row(best)[6] {
				best = i
			}
		}
		if best != row {
			t.Errorf("a click in the middle of row %d shows in row %d", row, best)
		}
	}
}

func TestSketchInBlocks(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	x := make([]float32, 12345)
	for i := range x {
		x[i] = float32(rng.NormFloat64())
	}
	if a, b := sketchOf(x, len(x)), sketchOf(x, 7); string(a) != string(b) {
		t.Error("blocks of 7 samples give another sketch than the whole")
	}
}

// Five seconds of noise bursts amid a quieter noise are five seconds busy, and
// the busiest stretch is where they are.
func TestSketchBusy(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	x := make([]float32, 60*dsp.ProxyRate)
	for i := range x {
		level := 0.001
		if at := float64(i) / dsp.ProxyRate; at >= 30 && at < 35 {
			level = 0.1
		}
		x[i] = float32(level * rng.NormFloat64())
	}
	s := sketchOf(x, 4096)
	if b := s.Busy(); math.Abs(b-5) > 0.2 {
		t.Errorf("busy for %.2f s, want 5", b)
	}
	if at := s.Busiest(0, 60, 8); at < 26.9 || at > 30.1 {
		t.Errorf("busiest eight seconds begin at %.2f s, want them to hold 30 to 35", at)
	}
	if at := sketchOf(make([]float32, 3*dsp.ProxyRate), 999).Busiest(0, 3, 16); at != 0 {
		t.Errorf("busiest stretch of a recording shorter than it begins at %.2f s, want 0", at)
	}
}
