package dsp_test

import (
	"bytes"
	"math"
	"math/rand/v2"
	"testing"

	"earshot/internal/dsp"
)

func sketchOf(x []float32, block int) dsp.SketchBytes {
	s := dsp.NewSketcher()
	var rows dsp.SketchBytes
	for i := 0; i < len(x); i += block {
		s.Write(x[i:min(len(x), i+block)])
		rows = append(rows, s.Take()...)
	}
	return append(rows, s.Close()...)
}

// row returns one row of a sketch; outside it is zeros.
func row(t *testing.T, s dsp.Sketch, i int) []byte {
	t.Helper()
	r := make([]byte, dsp.SketchBands)
	if err := s.ReadRows(r, i); err != nil {
		t.Fatal(err)
	}
	return r
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
	mid := row(t, s, 25)
	best := 0
	for b, v := range mid {
		if v > mid[best] {
			best = b
		}
	}
	if db := float64(mid[best])/2 - 110; math.Abs(db-1.76) > 0.6 {
		t.Errorf("a full-scale sine reads %.1f dB, want 1.8", db)
	}
	for b, v := range mid {
		if d := int(mid[best]) - int(v); b < best-1 && d < 60 || b > best+1 && d < 60 {
			t.Errorf("band %d lies only %.1f dB under band %d", b, float64(d)/2, best)
		}
	}
}

// A row is centred on its hop: a click shows most in the row it lies in.
func TestSketchRowsAreCentred(t *testing.T) {
	for _, at := range []int{0, 1, 17, 48} {
		x := make([]float32, dsp.ProxyRate)
		x[at*dsp.SketchHop+dsp.SketchHop/2] = 1
		s := sketchOf(x, 1000)
		best := 0
		for i := range s.Rows() {
			if row(t, s, i)[6] > row(t, s, best)[6] {
				best = i
			}
		}
		if best != at {
			t.Errorf("a click in the middle of row %d shows in row %d", at, best)
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
	a, err := dsp.ActivityOf(sketchOf(x, 4096), 8)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(a.Busy-5) > 0.2 {
		t.Errorf("busy for %.2f s, want 5", a.Busy)
	}
	if a.Busiest < 26.9 || a.Busiest > 30.1 {
		t.Errorf("busiest eight seconds begin at %.2f s, want them to hold 30 to 35", a.Busiest)
	}
	if a, err := dsp.ActivityOf(sketchOf(make([]float32, 3*dsp.ProxyRate), 999), 16); err != nil || a.Busiest != 0 {
		t.Errorf("busiest stretch of a recording shorter than it begins at %.2f s (%v), want 0", a.Busiest, err)
	}
}

// Rows outside the recording are zeros, on both sides.
func TestSketchReadsZerosOutside(t *testing.T) {
	s := dsp.SketchBytes(bytes.Repeat([]byte{7}, 3*dsp.SketchBands))
	got := make([]byte, 6*dsp.SketchBands)
	if err := s.ReadRows(got, -1); err != nil {
		t.Fatal(err)
	}
	for i, v := range got {
		want := byte(7)
		if r := i/dsp.SketchBands - 1; r < 0 || r >= 3 {
			want = 0
		}
		if v != want {
			t.Fatalf("byte %d is %d, want %d", i, v, want)
		}
	}
	for _, far := range []int{-50, 50} {
		if r := row(t, s, far); !bytes.Equal(r, make([]byte, dsp.SketchBands)) {
			t.Errorf("row %d is %v, want zeros", far, r)
		}
	}
}
