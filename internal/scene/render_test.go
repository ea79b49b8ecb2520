package scene

import (
	"math"
	"testing"
)

// tone is an excerpt holding a sine of f Hz.
func tone(f, rate, seconds float64) *Excerpt {
	e := &Excerpt{Name: "tone", Rate: rate, Samples: make([]float32, int(seconds*rate))}
	for i := range e.Samples {
		e.Samples[i] = float32(0.5 * math.Sin(2*math.Pi*f*float64(i)/rate))
	}
	return e
}

// TestClock holds rendered sines against the closed form: a device that starts
// at w0, runs fast by p and hears the mouth after D samples
// sin(2πf·(w0 + n/(R(1+p)) - D - at)). The bound is -90 dB of full scale.
func TestClock(t *testing.T) {
	for _, tt := range []struct {
		f     float64 // Hz
		rate  int
		clock Clock
		metres,
		at float64
	}{
		{997, 16000, Clock{Start: 3.123456789, PPM: 47.3}, 3, 1},
		{6500, 16000, Clock{Start: 1003.1, PPM: -88.8}, 0.17, 1000.7},
		{440, 48000, Clock{Start: 2.5, PPM: 100}, 4.4, 1},
		{6900, 48000, Clock{Start: 7200.77, PPM: 33}, 2, 7200},
		{3000, 44100, Clock{Start: 12.1, PPM: -100}, 1, 10},
	} {
		s := &Scene{Talk: []Utterance{{At: tt.at, Excerpt: tone(tt.f, 48000, 8)}}}
		flight := tt.metres / SpeedOfSound
		d := &Device{Clock: tt.clock, Length: 2.5, Paths: []Path{{Flight: flight}}}
		worst := 0.0
		for n, v := range s.Render(d, tt.rate) {
			w := tt.clock.Start + float64(n)/(float64(tt.rate)*(1+tt.clock.PPM*1e-6))
			want := 0.5 * math.Sin(2*math.Pi*tt.f*(w-flight-tt.at))
			worst = max(worst, math.Abs(float64(v)-want))
		}
		if db := 20 * math.Log10(worst/0.5); db > -90 {
			t.Errorf("%g Hz at %d Hz: worst error %.1f dB, want under -90 dB", tt.f, tt.rate, db)
		} else {
			t.Logf("%g Hz at %d Hz: worst error %.1f dB", tt.f, tt.rate, db)
		}
	}
}
