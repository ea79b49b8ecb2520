package align

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"earshot/internal/dsp"
)

// talk is noise in syllables: band-limited, with pauses.
func talk(rng *rand.Rand, n int) []float64 {
	x := make([]float64, n)
	var low, env, goal float64
	for i := range x {
		if i%2400 == 0 {
			goal = 0
			if rng.Float64() < 0.6 {
				goal = rng.Float64()
			}
		}
		env += (goal - env) * 0.002
		low += (rng.NormFloat64() - low) * 0.6
		x[i] = env * low * 0.3
	}
	return x
}

// heard samples x, which stands at the sound's clock, at clip times through a
// wide Hann-windowed sinc: clip sample i hears x at offset + (1+drift)·i. The
// taps of one sample share one sine and one turning cosine.
func heard(x []float64, n int, a Alignment) []float64 {
	const wide = 32
	y := make([]float64, n)
	turn := cmplx.Rect(1, -math.Pi/wide)
	for i := range y {
		pos := a.Offset*dsp.ProxyRate + (1+a.Drift)*float64(i)
		first := int(math.Floor(pos)) - wide + 1
		d := pos - float64(first)
		sine := math.Sin(math.Pi*d) / math.Pi
		hann := cmplx.Rect(1, math.Pi*d/wide)
		for j := first; j < first+2*wide; j++ {
			if j >= 0 && j < len(x) {
				tap := 1.0
				if d != 0 {
					tap = sine / d
				}
				y[i] += x[j] * tap * (0.5 + 0.5*real(hann))
			}
			d, sine, hann = d-1, -sine, hann*turn
		}
	}
	return y
}

func noisy(rng *rand.Rand, x []float64, sigma float64) Samples {
	out := make(Samples, len(x))
	for i, v := range x {
		out[i] = float32(v + sigma*rng.NormFloat64())
	}
	return out
}

func TestFindRecoversOffsetAndDrift(t *testing.T) {
	for _, tt := range []struct {
		name          string
		truth         Alignment
		length, noise float64
		worst         float64 // seconds, anywhere along the clip
	}{
		{"clean minute", Alignment{12.345678, 41.2e-6}, 60, 0, 4e-6},
		{"minute in noise", Alignment{7.000013, -55e-6}, 60, 0.1, 20e-6},
		{"fast recorder", Alignment{3.25, 290e-6}, 40, 0, 3e-6},
		{"four minutes", Alignment{20.5, -120e-6}, 240, 0.1, 10e-6},
		{"six seconds", Alignment{5.1, 20e-6}, 6, 0.02, 30e-6},
	} {
		t.Run(tt.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(1, uint64(tt.length)))
			x := talk(rng, int((tt.length+40)*dsp.ProxyRate))
			clip := noisy(rng, heard(x, int(tt.length*dsp.ProxyRate), tt.truth), tt.noise)
			mid := tt.length / 3
			f, err := Find(clip, noisy(rng, x, 0.001), Guess{At: mid, Sound: tt.truth.Sound(mid) + 0.013})
			if err != nil || f == nil {
				t.Fatalf("Find = %v, %v", f, err)
			}
			for _, at := range []float64{0, tt.length} {
				if e := f.Sound(at) - tt.truth.Sound(at); math.Abs(e) > tt.worst {
					t.Errorf("at %.0f s off by %.2f µs, want within %.2f µs", at, e*1e6, tt.worst*1e6)
				}
			}
			t.Logf("strength %.1f, errors %.2f µs at 0, %.2f µs at end; sigma mid %.2f µs, drift %.3f ppm (error %.3f), halves %.2f µs",
				f.Strength, (f.Sound(0)-tt.truth.Sound(0))*1e6, (f.Sound(tt.length)-tt.truth.Sound(tt.length))*1e6, f.MidSigma*1e6, f.DriftSigma*1e6, (f.Drift-tt.truth.Drift)*1e6, f.Halves*1e6)
		})
	}
}

func TestFindRejectsStrangers(t *testing.T) {
	worst := 0.0
	for seed := range uint64(30) {
		rng := rand.New(rand.NewPCG(seed, 7))
		clip := noisy(rng, talk(rng, 30*dsp.ProxyRate), 0.001)
		sound := noisy(rng, talk(rng, 60*dsp.ProxyRate), 0.001)
		f, err := Find(clip, sound, Guess{At: 15, Sound: 25})
		if err != nil {
			t.Fatal(err)
		}
		if f != nil {
			worst = math.Max(worst, f.Strength)
		}
	}
	t.Logf("strongest stranger %.2f", worst)
	if worst > 7 {
		t.Errorf("strangers reach %.2f standard deviations, want under 7", worst)
	}
}

func BenchmarkFind(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	x := talk(rng, 640*dsp.ProxyRate)
	truth := Alignment{20.5, 40e-6}
	clip := noisy(rng, heard(x, 600*dsp.ProxyRate, truth), 0.1)
	sound := noisy(rng, x, 0.001)
	b.ResetTimer()
	for b.Loop() {
		Find(clip, sound, Guess{At: 300, Sound: truth.Sound(300)})
	}
	b.ReportMetric(600*float64(b.N)/b.Elapsed().Seconds(), "audio_s/s")
}

// Two minutes of silence with six seconds of talk somewhere are found: the
// first look goes where there is something to hear.
func TestFindTalkAmidSilence(t *testing.T) {
	for _, at := range []int{3, 41, 77, 110} {
		rng := rand.New(rand.NewPCG(uint64(at), 9))
		x := make([]float64, 140*dsp.ProxyRate)
		copy(x[(at+10)*dsp.ProxyRate:], talk(rng, 6*dsp.ProxyRate))
		truth := Alignment{10.25, 30e-6}
		clip := noisy(rng, heard(x, 120*dsp.ProxyRate, truth), 0.002)
		f, err := Find(clip, noisy(rng, x, 0.002), Guess{At: float64(at), Sound: truth.Sound(float64(at)) - 0.01})
		if err != nil || f == nil {
			t.Errorf("talk at %d s: Find = %v, %v", at, f, err)
			continue
		}
		if f.DriftSigma < 20e-6 {
			t.Errorf("talk at %d s: drift %.1f ppm within %.2f, which six seconds cannot tell", at, f.Drift*1e6, f.DriftSigma*1e6)
		}
		known := f.WithDrift(truth.Drift, 1e-6)
		if e := known.Sound(float64(at+3)) - truth.Sound(float64(at+3)); math.Abs(e) > 250e-6 {
			t.Errorf("talk at %d s: off by %.1f µs where it is, want within 250", at, e*1e6)
		}
	}
}

// Files that both begin earlier have everything later, and the line says the
// same of each moment.
func TestLater(t *testing.T) {
	f := Found{Alignment: Alignment{Offset: 3, Drift: 50e-6}, Mid: 10, From: 1, To: 20, Locals: []Local{{At: 4, Left: 1e-5}}}
	g := f.Later(100)
	if math.Abs(g.Sound(110)-f.Sound(10)-100) > 1e-9 || g.Mid != 110 || g.From != 101 || g.To != 120 {
		t.Errorf("%+v becomes %+v", f, g)
	}
	if g.Locals[0] != (Local{At: 104, Left: 1e-5}) || f.Locals[0].At != 4 {
		t.Errorf("windows %+v of %+v", g.Locals, f.Locals)
	}
}

// Clocks that are far apart: the first look lays each window along no drift,
// so that within it the talk smears over a millisecond and pulls the line.
func TestClocksFarApart(t *testing.T) {
	for seed := range uint64(12) {
		rng := rand.New(rand.NewPCG(seed, 290))
		drift := 290e-6
		if seed%2 == 1 {
			drift = -drift
		}
		const n, offset = 16000 * 40, 3.00071
		x := talk(rng, n+16000*8)
		clip := heard(x, n, Alignment{Offset: offset, Drift: drift})
		f, err := Find(noisy(rng, clip, 0.01), noisy(rng, x, 0.001), Guess{At: 20, Sound: 23})
		if err != nil || f == nil {
			t.Fatalf("seed %d: %v, %v", seed, f, err)
		}
		if off := (f.Drift - drift) * 1e6; math.Abs(off) > 0.5 {
			t.Errorf("seed %d: drift off by %.2f ppm", seed, off)
		}
	}
}
