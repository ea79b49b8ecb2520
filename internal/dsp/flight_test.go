package dsp

import (
	"math"
	"testing"
)

// Computed from the form of ISO 9613-1 (the form itself from memory); 0 °C
// agrees with the textbook 331.3·sqrt(1 + T/273.15) m/s.
func TestSpeedOfSound(t *testing.T) {
	for _, tt := range []struct{ celsius, speed, msPerMetre, msPer6Feet float64 }{
		{-10, 325.17, 3.075, 5.62},
		{0, 331.29, 3.019, 5.52},
		{20, 343.20, 2.914, 5.33},
		{30, 349.00, 2.865, 5.24},
		{40, 354.71, 2.819, 5.16},
	} {
		if got := SpeedOfSound(tt.celsius); math.Abs(got-tt.speed) > 0.0051 {
			t.Errorf("%g °C: %.3f m/s, want %.2f", tt.celsius, got, tt.speed)
		}
		if got := 1000 * Flight(1, tt.celsius); math.Abs(got-tt.msPerMetre) > 0.00051 {
			t.Errorf("%g °C: %.4f ms a metre, want %.3f", tt.celsius, got, tt.msPerMetre)
		}
		if got := 1000 * Flight(1.829, tt.celsius); math.Abs(got-tt.msPer6Feet) > 0.0051 {
			t.Errorf("%g °C: %.3f ms in 6 ft, want %.2f", tt.celsius, got, tt.msPer6Feet)
		}
		textbook := 331.3 * math.Sqrt(1+tt.celsius/273.15)
		if got := SpeedOfSound(tt.celsius); math.Abs(got/textbook-1) > 1e-4 {
			t.Errorf("%g °C: %.3f m/s, textbook %.3f", tt.celsius, got, textbook)
		}
	}
	// J. O. Smith, Physical Audio Signal Processing: 1085.1 ft/s at 0 °C,
	// 1124.1 ft/s at 20 °C; sources differ by up to 0.2 %.
	for celsius, feet := range map[float64]float64{0: 1085.1, 20: 1124.1} {
		if got := SpeedOfSound(celsius) / 0.3048; math.Abs(got/feet-1) > 0.002 {
			t.Errorf("%g °C: %.1f ft/s, want %.1f", celsius, got, feet)
		}
	}
	if SpeedOfSound(-300) != 0 || !math.IsInf(Flight(1, -300), 1) {
		t.Error("sound below absolute zero")
	}
}

// Worked: camera 3 m away, microphone 0.2 m from the mouth, 20 °C. The scratch
// is 8.74 ms late on the lips, the good sound 0.58 ms; laid on the scratch the
// good sound must move 8.16 ms earlier. One frame of flight is 14.30 m at 24,
// 13.73 at 25, 11.45 at 29.97 and 5.73 at 59.94 pictures a second.
func TestFlight(t *testing.T) {
	far, near := 1000*Flight(3, 20), 1000*Flight(0.2, 20)
	if math.Abs(far-8.74) > 0.005 || math.Abs(near-0.58) > 0.005 || math.Abs(far-near-8.16) > 0.005 {
		t.Errorf("camera %.3f ms, mic %.3f ms, apart %.3f ms; want 8.74, 0.58, 8.16", far, near, far-near)
	}
	for fps, metres := range map[float64]float64{24: 14.30, 25: 13.73, 30000.0 / 1001: 11.45, 60000.0 / 1001: 5.73} {
		if got := Flight(metres, 20) * fps; math.Abs(got-1) > 0.001 {
			t.Errorf("%g m at %.2f pictures a second is %.4f frames, want 1", metres, fps, got)
		}
	}
}
