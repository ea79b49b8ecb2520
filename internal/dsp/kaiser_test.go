package dsp

import (
	"fmt"
	"math"
	"testing"
)

func TestBesselI0(t *testing.T) {
	for _, tt := range []struct{ x, want float64 }{ // Abramowitz and Stegun, table 9.8
		{0, 1}, {1, 1.2660658778}, {2, 2.2795853023}, {5, 27.2398718236}, {10, 2815.7166284663},
	} {
		if got := besselI0(tt.x); math.Abs(got/tt.want-1) > 1e-10 {
			t.Errorf("I0(%g) = %.10g, want %.10g", tt.x, got, tt.want)
		}
	}
}

// Oppenheim and Schafer, Discrete-Time Signal Processing, worked example of
// the Kaiser method: pass band to 0.4π, stop band from 0.6π, ripple 0.001
// gives beta 5.653 and order 37, which is 38 taps.
func TestKaiserDesign(t *testing.T) {
	if got := KaiserBeta(60); math.Abs(got-5.653) > 0.0005 {
		t.Errorf("beta for 60 dB is %.4f, want 5.653", got)
	}
	if got := KaiserLength(60, 0.1); got != 38 {
		t.Errorf("taps for 60 dB in 0.2π are %d, want 38", got)
	}
	if KaiserBeta(20) != 0 || KaiserLength(5, 0.1) != 1 {
		t.Error("little attenuation needs no window")
	}
}

func TestKaiserShape(t *testing.T) {
	if w := Kaiser(1, 5); len(w) != 1 || w[0] != 1 {
		t.Errorf("one weight: %v", w)
	}
	if Kaiser(0, 5) != nil || Kaiser(-1, 5) != nil {
		t.Error("no weights expected")
	}
	for _, n := range []int{2, 7, 64} {
		w := Kaiser(n, 8)
		for i := range w {
			if w[i] != w[n-1-i] {
				t.Errorf("n %d: weight %d is %g, its mirror %g", n, i, w[i], w[n-1-i])
			}
		}
		if ends := 1 / besselI0(8); math.Abs(w[0]-ends) > 1e-15 {
			t.Errorf("n %d: ends at %g, want 1/I0(8) = %g", n, w[0], ends)
		}
	}
}

const scipyKaiser = `
import sys, numpy as np
from scipy.signal import kaiser_beta
from scipy.signal.windows import kaiser
n, att = int(sys.argv[1]), float(sys.argv[2])
np.append(kaiser(n, kaiser_beta(att)), kaiser_beta(att)).astype('<f4').tofile(sys.stdout.buffer)
`

// Reference: SciPy's kaiser and kaiser_beta, to float32 precision.
func TestKaiserSciPy(t *testing.T) {
	python := pythonWithSciPy(t)
	for _, tt := range []struct {
		n   int
		att float64
	}{{33, 130}, {64, 60}, {51, 30}, {10, 50}, {9, 20}} {
		want := filterFloats(t, nil, python, "-c", scipyKaiser, fmt.Sprint(tt.n), fmt.Sprint(tt.att))
		beta := KaiserBeta(tt.att)
		for i, got := range append(Kaiser(tt.n, beta), beta) {
			if math.Abs(got-float64(want[i])) > 1e-6*math.Max(1, got) {
				t.Errorf("n %d, %g dB: value %d is %g, want %g", tt.n, tt.att, i, got, want[i])
			}
		}
	}
}
