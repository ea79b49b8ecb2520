package frame

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestParseRate(t *testing.T) {
	for _, tt := range []struct {
		in   string
		want Rate
		name string
	}{
		{"30000/1001", Rate{30000, 1001}, "29.97"},
		{"29.97", Rate{30000, 1001}, "29.97"},
		{"23.976", Rate{24000, 1001}, "23.976"},
		{"23.98", Rate{24000, 1001}, "23.976"},
		{"48000/1001", Rate{48000, 1001}, "47.952"},
		{"59.94", Rate{60000, 1001}, "59.94"},
		{"119.88", Rate{120000, 1001}, "119.88"},
		{"25", Rate{25, 1}, "25"},
		{"25.000", Rate{25, 1}, "25"},
		{"50/2", Rate{25, 1}, "25"},
		{"12.5", Rate{25, 2}, "25/2"},
		{"60000/2002", Rate{30000, 1001}, "29.97"},
		{"0/0", Rate{}, "unknown"},
		{"", Rate{}, "unknown"},
	} {
		got, err := ParseRate(tt.in)
		if err != nil || got != tt.want || got.String() != tt.name {
			t.Errorf("ParseRate(%q) = %v (%q), %v; want %v (%q)", tt.in, got, got, err, tt.want, tt.name)
		}
		if again, err := ParseRate(got.Fraction()); err != nil || again != got {
			t.Errorf("%q read back is %v, %v", got.Fraction(), again, err)
		}
	}
	for _, in := range []string{
		"0", "1/0", "0/1", "-25", "25/-1", "+25", "1e3", "NaN", "25 ", "25/1/1", "2,5", ".", "1001", "1000.5",
		"99999999999999999999", "1/99999999999", "29.9700000000", "٢٥",
	} {
		if got, err := ParseRate(in); err == nil {
			t.Errorf("ParseRate(%q) = %v, want an error", in, got)
		}
	}
}

func FuzzParseRate(f *testing.F) {
	for _, s := range []string{"30000/1001", "29.97", "25", "1/3", "0/0"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		r, err := ParseRate(s)
		if err != nil {
			return
		}
		again, err := ParseRate(r.Fraction())
		if err != nil || again != r {
			t.Errorf("%q gave %v, its fraction gave %v, %v", s, r, again, err)
		}
		if again, err = ParseRate(r.String()); r.Known() && (err != nil || again != r) {
			t.Errorf("%q gave %v, its name gave %v, %v", s, r, again, err)
		}
	})
}

// Exact figures per rate, computed from the fractions: milliseconds a frame,
// samples a frame at 48 and 44.1 kHz as fractions.
func TestRateFigures(t *testing.T) {
	for _, tt := range []struct {
		rate       Rate
		ms         float64
		n48, d48   int64 // samples a frame at 48 kHz
		n441, d441 int64
		labels     int
	}{
		{Rate{24000, 1001}, 41.7083, 2002, 1, 147147, 80, 24},
		{Rate{24, 1}, 41.6667, 2000, 1, 3675, 2, 24},
		{Rate{25, 1}, 40.0000, 1920, 1, 1764, 1, 25},
		{Rate{30000, 1001}, 33.3667, 8008, 5, 147147, 100, 30},
		{Rate{30, 1}, 33.3333, 1600, 1, 1470, 1, 30},
		{Rate{50, 1}, 20.0000, 960, 1, 882, 1, 50},
		{Rate{60000, 1001}, 16.6833, 4004, 5, 147147, 200, 60},
		{Rate{120000, 1001}, 8.3417, 2002, 5, 147147, 400, 120},
	} {
		if ms := tt.rate.Time(1) * 1000; math.Abs(ms-tt.ms) > 0.00005 {
			t.Errorf("%s: %g ms a frame, want %g", tt.rate, ms, tt.ms)
		}
		// As many frames as the denominator says hold a whole number of samples.
		if got := tt.rate.Sample(Count(1e9*tt.d48), 48000); got != 1e9*tt.n48 {
			t.Errorf("%s at 48 kHz: %d samples, want %d", tt.rate, got, int64(1e9*tt.n48))
		}
		if got := tt.rate.Sample(Count(1e6*tt.d441), 44100); got != 1e6*tt.n441 {
			t.Errorf("%s at 44.1 kHz: %d samples, want %d", tt.rate, got, int64(1e6*tt.n441))
		}
		if tt.rate.Labels() != tt.labels {
			t.Errorf("%s: %d labels a second, want %d", tt.rate, tt.rate.Labels(), tt.labels)
		}
	}
}

// 8008 samples in five frames of 29.97 at 48 kHz: 1602 1601 1602 1601 1602,
// the audio frame sequence of SMPTE ST 272 (from memory; the sum is exact).
func TestSamplesPattern(t *testing.T) {
	r := Rate{30000, 1001}
	for _, from := range []Count{0, 5, 2589405, 5e9, -5} {
		for i, want := range []int{1602, 1601, 1602, 1601, 1602} {
			if got := r.Samples(from+Count(i), 48000); got != want {
				t.Errorf("frame %d holds %d samples, want %d", from+Count(i), got, want)
			}
		}
	}
}

func TestTimes(t *testing.T) {
	ntsc := Rate{30000, 1001}
	for _, tt := range []struct {
		t                float64
		onScreen, nearer Count
	}{
		{0, 0, 0}, {0.0333, 0, 1}, {0.0334, 1, 1}, {0.05, 1, 1}, {0.0501, 1, 2},
		{60.06, 1800, 1800}, {60.0599999, 1799, 1800}, {-0.001, -1, 0},
		{3600, 107892, 107892}, {3603.6, 108000, 108000},
	} {
		if got := ntsc.At(tt.t); got != tt.onScreen {
			t.Errorf("At(%g) = %d, want %d", tt.t, got, tt.onScreen)
		}
		if got := ntsc.Nearest(tt.t); got != tt.nearer {
			t.Errorf("Nearest(%g) = %d, want %d", tt.t, got, tt.nearer)
		}
	}
	half := Rate{25, 1} // 0.5 s is half way from frame 12 to 13
	if a, b := half.Nearest(math.Nextafter(0.5, 0)), half.Nearest(0.5); a != 12 || b != 13 {
		t.Errorf("a hair under half way is frame %d and half way %d, want 12 and 13", a, b)
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300} {
		if ntsc.At(bad) != 0 || ntsc.Nearest(bad) != 0 {
			t.Errorf("%g s has a frame", bad)
		}
	}
	if u := (Rate{}); u.Time(5) != 0 || u.At(5) != 0 || u.Sample(5, 48000) != 0 || u.Exact(1) != nil || u.Labels() != 0 {
		t.Error("the unknown rate knows times")
	}
}

// A frame's own start is on that frame at every rate, however far along.
func TestTimeRoundTrip(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	for range 20000 {
		r := Rate{1 + rng.IntN(120000), 1 + rng.IntN(2000)}
		if !r.Known() {
			continue
		}
		n := Count(rng.Int64N(1<<33) - 1<<32)
		if got := r.At(r.Time(n)); got != n {
			t.Fatalf("%s: At(Time(%d)) = %d", r.Fraction(), n, got)
		}
		if got := r.Nearest(r.Time(n)); got != n {
			t.Fatalf("%s: Nearest(Time(%d)) = %d", r.Fraction(), n, got)
		}
	}
}

func TestWrapDay(t *testing.T) {
	for _, tt := range []struct{ in, want float64 }{
		{0, 0}, {10, 10}, {-10, -10}, {86380, -20}, {-86380, 20}, {43200, 43200}, {-43200, 43200},
		{43201, -43199}, {3*86400 + 1, 1}, {-5 * 43200, 43200},
	} {
		if got := WrapDay(tt.in); got != tt.want {
			t.Errorf("WrapDay(%g) = %g, want %g", tt.in, got, tt.want)
		}
	}
	if !math.IsNaN(WrapDay(math.NaN())) || !math.IsNaN(WrapDay(math.Inf(1))) {
		t.Error("no time wraps to a time")
	}
}
