package scene

import (
	"math"
	"testing"
)

// The worked values of the bound: the formula of Knapp & Carter 1976 and Quazi
// 1981 for flat spectra, evaluated elsewhere, in microseconds.
func TestBoundOfTheTable(t *testing.T) {
	for _, tt := range []struct{ low, high, t, snr1, snr2, micros float64 }{
		{300, 3400, 1, 0, 0, 1.704},
		{300, 3400, 1, -10, -10, 10.774},
		{300, 3400, 1, 20, 0, 0.993},
		{300, 3400, 0.5, 10, 10, 0.637},
		{200, 6000, 1, -6, -6, 2.047},
		{100, 8000, 10, -15, -15, 2.809},
		{300, 3400, 30, 20, -10, 0.571},
	} {
		got := DelayBound(tt.low, tt.high, tt.t, tt.snr1, tt.snr2) * 1e6
		if math.Abs(got-tt.micros) > 0.0006 {
			t.Errorf("%g to %g Hz, %g s, %g and %g dB: %.4f µs, want %.3f", tt.low, tt.high, tt.t, tt.snr1, tt.snr2, got, tt.micros)
		}
	}
}
