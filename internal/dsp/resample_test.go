package dsp

import (
	"errors"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
)

// resampleTestCases are the conversions the rest of the program makes, with
// the top of the band that must come through unharmed: 20 kHz, or 0.9 of the
// slower side's Nyquist frequency where that is less.
var resampleTestCases = []struct {
	name     string
	in, out  float64 // Hz; the step is in/out·(1+ppm/1e6)
	ppm      float64
	start    float64 // input samples
	bandEdge float64 // Hz
}{
	{"48 k half a sample", 48000, 48000, 0, 0.5, 20000},
	{"48 k third of a sample late", 48000, 48000, 0, -1.0 / 3, 20000},
	{"48 k a hair", 48000, 48000, 0, 0.001, 20000},
	{"48 k +1 ppm", 48000, 48000, 1, 0, 20000},
	{"48 k +30 ppm", 48000, 48000, 30, -12.25, 20000},
	{"48 k -30 ppm", 48000, 48000, -30, 100.7, 20000},
	{"48 k +300 ppm", 48000, 48000, 300, 0, 20000},
	{"48 k -300 ppm", 48000, 48000, -300, 0, 20000},
	{"44.1 k", 44100, 48000, 0, 0, 20000},
	{"44.1 k +300 ppm", 44100, 48000, 300, 0.3, 20000},
	{"44.1 k -300 ppm", 44100, 48000, -300, 0.3, 20000},
	{"8 k", 8000, 48000, 20, 0, 3600},
	{"16 k", 16000, 48000, -20, 0, 7200},
	{"22.05 k", 22050, 48000, 20, 0, 9922},
	{"32 k", 32000, 48000, 0, 0.6, 14400},
	{"88.2 k", 88200, 48000, 0, 0, 20000},
	{"96 k", 96000, 48000, 0, 0, 20000},
	{"96 k +50 ppm", 96000, 48000, 50, 0.25, 20000},
	{"192 k", 192000, 48000, -50, 0, 20000},
	{"48 to 44.1 k", 48000, 44100, 10, 0, 19845},
}

// A copy is a copy: step 1 and a whole start, before, inside and after.
func TestResampleIdentity(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	in := make([]float32, 3*5000)
	for i := range in {
		in[i] = float32(rng.NormFloat64())
	}
	in[7], in[8] = float32(math.Copysign(0, -1)), math.MaxFloat32
	for _, start := range []int{0, -3, -9000, 17, 4999, 70000} {
		got := Resample(in, 3, float64(start), 1, 6000)
		if len(got) != 3*6000 {
			t.Fatalf("start %d: %d samples, want %d", start, len(got), 3*6000)
		}
		for i, g := range got {
			var want float32
			if j := i + 3*start; j >= 0 && j < len(in) {
				want = in[j]
			}
			if math.Float32bits(g) != math.Float32bits(want) {
				t.Fatalf("start %d, sample %d: %g, want %g", start, i, g, want)
			}
		}
	}
}

// The blocks the input arrives in must not show in the output.
func TestResampleBlocks(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	in := make([]float32, 2*30000)
	for i := range in {
		in[i] = float32(rng.NormFloat64())
	}
	for _, tt := range []struct{ start, step float64 }{
		{0, 1}, {-10000.3, 1.0003}, {12000.9, 0.91875}, {0.1, 4}, {-0.5, 1.0 / 8}, {5, 63.9}, {-1e5, 2},
	} {
		whole := NewResampler(2, tt.start, tt.step)
		want := collect(t, whole, in, func() int { return len(in) })
		pieces := NewResampler(2, tt.start, tt.step)
		got := collect(t, pieces, in, func() int { return 2 * rng.IntN(9000) })
		if n := int(math.Ceil((30000 - tt.start) / tt.step)); len(want) != 2*n || whole.Made() != int64(n) {
			t.Errorf("start %g step %g: %d frames (Made %d), want %d: every position before the end",
				tt.start, tt.step, len(want)/2, whole.Made(), n)
		}
		if !slicesSame(got, want) {
			t.Errorf("start %g step %g: output depends on the input's blocks", tt.start, tt.step)
		}
		n := min(400, len(want)/2)
		if limited := Resample(in, 2, tt.start, tt.step, n); !slicesSame(limited, want[:2*n]) {
			t.Errorf("start %g step %g: a limit changes the output", tt.start, tt.step)
		}
	}
}

func collect(t *testing.T, r *Resampler, in []float32, next func() int) []float32 {
	t.Helper()
	var res []float32
	keep := func(b []float32) error { res = append(res, b...); return nil }
	for len(in) > 0 {
		n := min(next(), len(in))
		if err := r.Write(in[:n], keep); err != nil {
			t.Fatal(err)
		}
		in = in[n:]
	}
	if err := r.Flush(keep); err != nil {
		t.Fatal(err)
	}
	return res
}

func slicesSame(a, b []float32) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if math.Float32bits(a[i]) != math.Float32bits(b[i]) {
			return false
		}
	}
	return true
}

// One sample reaches as far as Reach says, to both sides, and no further.
func TestResampleReach(t *testing.T) {
	for _, step := range []float64{1.0001, 44100.0 / 48000, 1.0 / 6, 4} {
		reach := NewResampler(1, 0, step).Reach()
		in := make([]float32, 8000)
		in[4000] = 1
		near := 0
		for i, v := range Resample(in, 1, 0.3, step, int(8000/step)) {
			away := math.Abs(0.3 + step*float64(i) - 4000)
			if away > float64(reach) && v != 0 {
				t.Fatalf("step %g: %g at %.1f frames away, reach %d", step, v, away, reach)
			}
			if away > 0.9*float64(reach) && v != 0 {
				near++
			}
		}
		if near == 0 {
			t.Errorf("step %g: nothing near the end of a reach of %d", step, reach)
		}
	}
}

// Channels must not leak into each other, however many there are.
func TestResampleChannels(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	mono := make([][]float32, 5)
	inter := make([]float32, 5*2000)
	for c := range mono {
		mono[c] = make([]float32, 2000)
		for i := range mono[c] {
			mono[c][i] = float32(rng.NormFloat64())
			inter[5*i+c] = mono[c][i]
		}
	}
	got := Resample(inter, 5, -3.3, 1.0001, 2010)
	for c := range mono {
		want := Resample(mono[c], 1, -3.3, 1.0001, 2010)
		for i := range want {
			if math.Abs(float64(got[5*i+c]-want[i])) > 1e-6 {
				t.Fatalf("channel %d frame %d: %g, alone %g", c, i, got[5*i+c], want[i])
			}
		}
	}
}

// Positions gather no error: after n outputs the position is start + n·step in
// exact rational arithmetic (math/big), for an n the loop can walk and for 10
// hours at 48 kHz.
func TestResamplePosition(t *testing.T) {
	const walk, tenHours = 100_000, 10 * 3600 * 48000
	for _, tt := range []struct{ start, step float64 }{
		{0.25, 1 + 30e-6}, {-1234.56789, 44100.0 / 48000 * (1 - 300e-6)}, {1e9 + 0.1, 4.0000001}, {-1e-20, 1.0 / 7},
	} {
		r := NewResampler(1, tt.start, tt.step)
		exact := func(n int64) *big.Rat {
			p := new(big.Rat).SetFloat64(tt.step)
			p.Mul(p, big.NewRat(n, 1))
			return p.Add(p, new(big.Rat).SetFloat64(tt.start))
		}
		off := func(whole int64, frac uint64, times int64) *big.Rat {
			p := new(big.Int).Lsh(big.NewInt(whole), 64)
			p.Add(p, new(big.Int).SetUint64(frac))
			p.Mul(p, big.NewInt(times))
			return new(big.Rat).SetFrac(p, new(big.Int).Lsh(big.NewInt(1), 64))
		}
		first := off(r.whole, r.frac, 1)
		last := first.Add(first, off(r.stepWhole, r.stepFrac, tenHours))
		diff, _ := last.Sub(last, exact(tenHours)).Float64()
		if math.Abs(diff) > 1e-6 {
			t.Errorf("start %g step %g: %g samples out after 10 hours", tt.start, tt.step, diff)
		}

		r.Limit(walk)
		r.ended, r.end = true, -1<<60 // silence: the walk is what counts
		if err := r.Flush(func([]float32) error { return nil }); err != nil {
			t.Fatal(err)
		}
		at := off(r.whole, r.frac, 1)
		diff, _ = at.Sub(at, exact(walk)).Float64()
		if math.Abs(diff) > 1e-9 {
			t.Errorf("start %g step %g: %g samples out after %d outputs", tt.start, tt.step, diff, walk)
		}
	}
}

func TestResampleRefuses(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, tt := range []struct {
		channels    int
		start, step float64
	}{
		{0, 0, 1}, {-1, 0, 1}, {1, 0, 0}, {1, 0, -1}, {1, 0, 65}, {1, 0, 0.01}, {1, 0, nan}, {1, 0, inf},
		{1, nan, 1}, {1, inf, 1}, {1, -inf, 1}, {1, 1e300, 1},
	} {
		r := NewResampler(tt.channels, tt.start, tt.step)
		none := func([]float32) error { t.Error("output"); return nil }
		if r.Write([]float32{1}, none) == nil || r.Flush(none) == nil {
			t.Errorf("NewResampler(%d, %g, %g) accepted", tt.channels, tt.start, tt.step)
		}
		if got := Resample([]float32{1}, tt.channels, tt.start, tt.step, 1); got != nil {
			t.Errorf("Resample with channels %d start %g step %g gave %v", tt.channels, tt.start, tt.step, got)
		}
	}
	r := NewResampler(2, 0, 1)
	if r.Write(make([]float32, 3), nil) == nil {
		t.Error("half a frame accepted")
	}
	full := errors.New("disk full")
	stop := func([]float32) error { return full }
	if err := r.Write(make([]float32, 2000), stop); err != full {
		t.Errorf("Write returned %v, want the error of out itself", err)
	}
	r = NewResampler(1, 0, 1)
	if err := r.Flush(nil); err != nil { // no input, no output
		t.Error(err)
	}
	if r.Write([]float32{1}, nil) == nil {
		t.Error("input after the end accepted")
	}
}

// One broken sample must not spread.
func TestResampleNotFinite(t *testing.T) {
	in := make([]float32, 1000)
	for i := range in {
		in[i] = 0.5
	}
	in[500], in[501] = float32(math.NaN()), float32(math.Inf(-1))
	for i, v := range Resample(in, 1, 0.5, 1, 1000) {
		if !(math.Abs(float64(v)) < 2) {
			t.Fatalf("sample %d is %g", i, v)
		}
	}
}

func TestResampleAllocates(t *testing.T) {
	in := make([]float32, 2*4800)
	r := NewResampler(2, 0, 1.0001)
	out := func([]float32) error { return nil }
	if n := testing.AllocsPerRun(20, func() {
		if err := r.Write(in, out); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("%g allocations a block", n)
	}
}

func FuzzResample(f *testing.F) {
	f.Add(2, 0.0, 1.0, 100, 50)
	f.Add(1, -1e6, 1.00003, 5000, 20000)
	f.Add(3, 9e15, 63.0, 1, 9)
	f.Fuzz(func(t *testing.T, channels int, start, step float64, frames, n int) {
		channels, frames, n = channels%6, min(max(frames, 0), 1<<14), min(n, 1<<14)
		in := make([]float32, max(0, channels)*frames)
		for i := range in {
			in[i] = 1
		}
		got := Resample(in, channels, start, step, n)
		if got != nil && len(got) != n*channels {
			t.Fatalf("%d samples, want %d", len(got), n*channels)
		}
		for i, v := range got {
			if !(math.Abs(float64(v)) < 2) {
				t.Fatalf("sample %d of a constant 1 is %g", i, v)
			}
		}
	})
}

// Each reports audio seconds made per second of one core.
func BenchmarkResample(b *testing.B) {
	for _, tt := range []struct {
		name       string
		channels   int
		step, rate float64 // rate of the output
	}{
		{"48k+30ppm stereo", 2, 1.00003, 48000},
		{"48k+30ppm mono", 1, 1.00003, 48000},
		{"44.1k stereo", 2, 44100.0 / 48000, 48000},
		{"16k mono", 1, 16000.0 / 48000, 48000},
		{"96k stereo", 2, 2.0001, 48000},
		{"192k stereo", 2, 4.0001, 48000},
		{"copy stereo", 2, 1, 48000},
	} {
		b.Run(tt.name, func(b *testing.B) {
			in := make([]float32, tt.channels*4800)
			for i := range in {
				in[i] = float32(i%97)/97 - 0.5
			}
			r := NewResampler(tt.channels, 0.25*math.Mod(tt.step, 1)*1e3, tt.step)
			out := func([]float32) error { return nil }
			b.ResetTimer()
			for b.Loop() {
				if err := r.Write(in, out); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(r.Made())/tt.rate/b.Elapsed().Seconds(), "audio-s/s")
		})
	}
}

func BenchmarkResampleKernel(b *testing.B) {
	for b.Loop() {
		newResampleKernel(0.5, false)
	}
}
