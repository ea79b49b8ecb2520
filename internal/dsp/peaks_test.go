package dsp

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"testing"
)

// peaksOf is all bins of a sound written in pieces of the given sizes in turn.
func peaksOf(x []float32, sizes ...int) []byte {
	var p Peaks
	var out []byte
	for i := 0; len(x) > 0; i++ {
		n := min(sizes[i%len(sizes)], len(x))
		p.Write(x[:n])
		out = append(out, p.Take()...)
		x = x[n:]
	}
	return append(out, p.Close()...)
}

// Every bin of every level is what its samples say, counted here by another
// way, whatever the length and however the sound comes in.
func TestPeaks(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{0, 1, 63, 64, 65, 255, 256, 257, 1000, 64 * 4096, 64*4096 + 1, 300001} {
		x := make([]float32, n)
		for i := range x {
			x[i] = float32(math.Pow(rng.Float64(), 6) * (2*rng.Float64() - 1))
		}
		got := peaksOf(x, 1, 700, 64, 16384)
		for level := range BinLevels {
			span := 64 * int(math.Pow(4, float64(level)))
			if BinSpan(level) != span || BinCount(n, level) != int(math.Ceil(float64(n)/float64(span))) {
				t.Fatalf("%d samples, level %d: %d bins of %d", n, level, BinCount(n, level), BinSpan(level))
			}
			for k := range BinCount(n, level) {
				part := x[k*span : min(n, (k+1)*span)]
				low, high, squares := math.Inf(1), math.Inf(-1), 0.0
				for _, v := range part {
					low, high = math.Min(low, float64(v)), math.Max(high, float64(v))
					squares += float64(v) * float64(v)
				}
				b := BinAt(got)
				got = got[BinBytes:]
				rms := math.Sqrt(squares/float64(len(part))) * 32767
				if float64(b.Low) > low*32767 || float64(b.Low) < low*32767-1 || float64(b.High) < high*32767 || float64(b.High) > high*32767+1 || math.Abs(float64(b.RMS)-rms) > 0.5001 {
					t.Fatalf("%d samples, level %d, bin %d: %+v, want %.2f to %.2f, %.2f", n, level, k, b, low*32767, high*32767, rms)
				}
			}
		}
		if len(got) != 0 {
			t.Errorf("%d samples: %d bytes too many", n, len(got))
		}
	}
}

// Bytes as docs/desk.md says: int16 lowest, int16 highest, uint16 root mean
// square, little-endian. What passes full scale is held, what is no number is
// silence.
func TestPeaksAtTheLimits(t *testing.T) {
	nan, inf := float32(math.NaN()), float32(math.Inf(1))
	for _, tt := range []struct {
		name      string
		x         []float32
		low, high int16
		rms       uint16
	}{
		{"full scale", []float32{1, -1}, -32767, 32767, 32767},
		{"over full scale", []float32{3, -2}, -32767, 32767, 32767},
		{"a hair above nothing", []float32{1e-9, 0}, 0, 1, 0},
		{"a hair below nothing", []float32{-1e-9, 0}, -1, 0, 0},
		{"both above", []float32{0.5, 0.25}, 8191, 16384, 12952}, // sqrt(0.15625)·32767 = 12952.3
		{"not a number", []float32{nan, 0.5, -inf, -0.5}, -16384, 16384, 11585},
		{"nothing but that", []float32{nan, inf, nan}, 0, 0, 0},
	} {
		want := binary.LittleEndian.AppendUint16(nil, uint16(tt.low))
		want = binary.LittleEndian.AppendUint16(want, uint16(tt.high))
		want = binary.LittleEndian.AppendUint16(want, tt.rms)
		got := peaksOf(tt.x, 3)
		if len(got) != BinLevels*BinBytes || string(got[:BinBytes]) != string(want) {
			t.Errorf("%s: % x, want % x at every level", tt.name, got, want)
		}
		if b := BinAt(got[6*BinBytes:]); b != (Bin{tt.low, tt.high, tt.rms}) || b.Top() != max(int(tt.high), -int(tt.low)) {
			t.Errorf("%s: %+v at level 6", tt.name, b)
		}
	}
}

func BenchmarkPeaks(b *testing.B) {
	x := make([]float32, 1<<20)
	for i := range x {
		x[i] = float32(math.Sin(float64(i) * 0.1))
	}
	b.SetBytes(int64(len(x)) * 4)
	for b.Loop() {
		var p Peaks
		p.Write(x)
		p.Close()
	}
}
