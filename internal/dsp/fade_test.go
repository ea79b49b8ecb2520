package dsp

import (
	"math"
	"testing"
)

// The laws in the definition of each shape, and the half-way gains they lead
// to: -6.02 dB and -3.01 dB.
func TestFadeLaws(t *testing.T) {
	for i := range 101 {
		x := float64(i) / 100
		if sum := FadeLinear.In(x) + FadeLinear.Out(x); math.Abs(sum-1) > 1e-12 {
			t.Errorf("linear at %g: gains add up to %g", x, sum)
		}
		in, out := FadeEqualPower.In(x), FadeEqualPower.Out(x)
		if math.Abs(in*in+out*out-1) > 1e-12 {
			t.Errorf("equal power at %g: powers add up to %g", x, in*in+out*out)
		}
	}
	for _, tt := range []struct {
		fade Fade
		x, a float64
	}{
		{FadeLinear, 0.5, 0.5}, {FadeEqualPower, 0.5, math.Sqrt(0.5)}, {FadeEqualPower, 1.0 / 3, 0.5},
		{FadeLinear, -1, 0}, {FadeEqualPower, -1, 0}, {FadeLinear, 2, 1}, {FadeEqualPower, 2, 1}, {FadeLinear, math.NaN(), 0},
	} {
		if got := tt.fade.In(tt.x); math.Abs(got-tt.a) > 1e-15 {
			t.Errorf("fade %d at %g is %g, want %g", tt.fade, tt.x, got, tt.a)
		}
	}
}

func TestCross(t *testing.T) {
	a := []float32{1, -1, 1, -1, 1, -1, 1, -1, 1, -1, 1, -1} // six frames
	b := make([]float32, len(a))
	whole := make([]float32, len(a))
	FadeLinear.Cross(whole, a, b, 2, -1, 4)
	want := []float32{1, -1, 0.875, -0.875, 0.625, -0.625, 0.375, -0.375, 0.125, -0.125, 0, 0} // by hand
	for i := range want {
		if whole[i] != want[i] {
			t.Fatalf("faded to %v, want %v", whole, want)
		}
	}
	// In pieces, in place.
	for from := 0; from < 6; from += 2 {
		piece := a[2*from : 2*from+4]
		FadeLinear.Cross(piece, piece, b[2*from:], 2, int64(from)-1, 4)
	}
	if !slicesSame(a, whole) {
		t.Errorf("in pieces %v, at once %v", a, whole)
	}
	// No length: a cut at frame 0.
	cut := make([]float32, 4)
	FadeEqualPower.Cross(cut, []float32{1, 1, 1, 1}, []float32{2, 2, 2, 2}, 1, -2, 0)
	if !slicesSame(cut, []float32{1, 1, 2, 2}) {
		t.Errorf("a cut gave %v", cut)
	}
	FadeLinear.Cross(nil, a, b, 0, 0, 1) // nothing to do, nothing to break
}
