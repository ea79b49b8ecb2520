package scene

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// TestSNR measures speech and noise of a camera apart and holds their ratio
// against what was asked, for every kind of noise.
func TestSNR(t *testing.T) {
	s := mustDemo(t)
	for _, kind := range []Noise{Pink, Babble, Traffic, Music, Wind} {
		clip := s.Clips[0]
		clip.AGC, clip.Limit, clip.Floor, clip.Gain = false, false, 0, 0
		clip.Noise, clip.SNR = kind, 10
		clean := clip
		clean.Noise = Quiet
		both, speech := s.Render(&clip, 16000), s.Render(&clean, 16000)
		noise := make([]float32, len(both))
		for i := range noise {
			noise[i] = both[i] - speech[i]
		}
		talk := frameLevels(&Excerpt{Rate: 16000, Samples: speech})
		limit, sum, n := speechLimit(talk), 0.0, 0.0
		for _, v := range talk {
			if v > limit {
				sum, n = sum+v*v, n+1
			}
		}
		got := 20 * math.Log10(math.Sqrt(sum/n)/rms(noise))
		t.Logf("%v: %.1f dB", kind, got)
		if math.Abs(got-clip.SNR) > 2 {
			t.Errorf("%v: speech over noise is %.1f dB, want %.0f", kind, got, clip.SNR)
		}
	}
}

// TestPink checks the slope of pink noise: equal power in each octave.
func TestPink(t *testing.T) {
	p := newPink(1)
	x := make([]float64, 1<<18)
	for i := range x {
		x[i] = p.next()
	}
	power := make([]float64, 6) // octaves from 1/128 of the rate up
	spectrum := powerSpectrum(x)
	for o := range power {
		from := len(x) >> (7 - o)
		for k := from; k < 2*from && k < len(spectrum); k++ {
			power[o] += spectrum[k]
		}
	}
	for o := 1; o < len(power); o++ {
		if step := 10 * math.Log10(power[o]/power[o-1]); math.Abs(step) > 0.5 {
			t.Errorf("octave %d is %.2f dB over the one below", o, step)
		}
	}
}

// TestChainKeepsTime checks that limiting and automatic level move nothing:
// every sample keeps its sign and place.
func TestChainKeepsTime(t *testing.T) {
	c := &chain{gain: 2, auto: newAutoLevel(16000), limit: true}
	in, out := make([]float64, 4000), make([]float32, 4000)
	for i := range in {
		in[i] = 0.3 * math.Sin(float64(i))
	}
	was := append([]float64(nil), in...)
	c.run(in, out)
	for i := range out {
		if was[i]*float64(out[i]) < 0 || (was[i] == 0) != (out[i] == 0) || math.Abs(float64(out[i])) > 1 {
			t.Fatalf("sample %d: %g became %g", i, was[i], out[i])
		}
	}
}

// powerSpectrum returns |X|² up to half the rate.
func powerSpectrum(x []float64) []float64 {
	bins := fourier.NewFFT(len(x)).Coefficients(nil, x)
	out := make([]float64, len(bins))
	for i, b := range bins {
		out[i] = real(b)*real(b) + imag(b)*imag(b)
	}
	return out
}
