package scene

import (
	"math"
	"math/cmplx"
	"testing"
)

// The magnitude of a Butterworth filter of second order through the bilinear
// transform: Oppenheim & Schafer, Discrete-Time Signal Processing, 7.1.
func TestMuffledIsButterworth(t *testing.T) {
	const low, high = 300, 3400
	r := Muffled(low, high)
	warped := func(hz float64) float64 { return math.Tan(math.Pi * hz / r.Rate) }
	for _, hz := range []float64{100, 300, 1000, 3400, 6800, 13600} {
		got := 0i
		for i, v := range r.Samples {
			got += complex(float64(v), 0) * cmplx.Exp(complex(0, -2*math.Pi*hz*float64(i)/r.Rate))
		}
		want := 1 / math.Sqrt((1+math.Pow(warped(hz)/warped(high), 4))*(1+math.Pow(warped(low)/warped(hz), 4)))
		if d := 20 * math.Log10(cmplx.Abs(got)/want); math.Abs(d) > 0.01 {
			t.Errorf("%g Hz: %.3f dB off the closed form", hz, d)
		}
	}
}

// The analogue low pass answers a click with e^(-wt/√2)·sin(wt/√2), w = 2π·hz,
// which is highest at wt = √2·π/4. The band of speech ends at 6 kHz, whose steep edge
// moves so broad a top by some microseconds.
func TestMuffledDelays(t *testing.T) {
	for _, hz := range []float64{500, 1000, 2000} {
		r := Muffled(0, hz)
		got, want := (r.Direct-muffledLead)/r.Rate, math.Sqrt2/8/hz
		if math.Abs(got-want) > 12e-6 {
			t.Errorf("muffled from %g Hz up: the click is seen %.1f µs late, want %.1f", hz, got*1e6, want*1e6)
		}
	}
}

// A muffled body mic hears the same moment at the same place, without its highs.
func TestCoupleMuffled(t *testing.T) {
	phrases, err := Phrases()
	if err != nil {
		t.Fatal(err)
	}
	c := Couple{Seed: 5, Length: 4, SNR: 20, RT60: 0.3}
	plain := c.Scene(phrases)
	c.Band = [2]float64{0, 1000}
	dull := c.Scene(phrases)
	if a, b := plain.Truth()[0].Offset, dull.Truth()[0].Offset; a != b {
		t.Errorf("offset %g plain, %g muffled", a, b)
	}
	highs := func(s *Scene) float64 {
		x := s.Render(&s.Sounds[0], 16000)
		for range 3 {
			for i := len(x) - 1; i > 0; i-- {
				x[i] -= x[i-1] // 6 dB an octave
			}
		}
		return rms(x)
	}
	if db := 20 * math.Log10(highs(plain)/highs(dull)); db < 3 {
		t.Errorf("highs are only %.1f dB down", db)
	}
}
