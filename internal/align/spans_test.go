package align

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"earshot/internal/dsp"
	"earshot/internal/scene"
)

// spliced is x with samples lost (n > 0) or repeated (n < 0) at an index.
func spliced(x []float64, at, n int) []float64 {
	out := append([]float64(nil), x[:at]...)
	return append(out, x[at+n:]...)
}

// power is the mean square of x between two times in seconds.
func power(x []float64, from, to float64) (sum float64) {
	lo, hi := int(from*dsp.ProxyRate), int(math.Min(to*dsp.ProxyRate, float64(len(x))))
	for i := lo; i < hi; i++ {
		sum += x[i] * x[i] / float64(hi-lo)
	}
	return sum
}

// roomed is x through a made-up room of a fifth of a second: the direct sound
// and a tail of noise that dies away.
func roomed(rng *rand.Rand, x []float64, tail float64) []float64 {
	h := make([]float64, dsp.ProxyRate/5)
	for i := range h {
		h[i] = tail * rng.NormFloat64() * math.Exp(-float64(i)/600)
	}
	h[0] = 1
	size := 1
	for size < len(x)+len(h) {
		size *= 2
	}
	fft := dsp.NewFFT(size)
	spec := func(v []float64) []complex128 {
		buf := fft.Buffer()
		clear(buf)
		copy(buf, v)
		return fft.Forward(nil)
	}
	a, b := spec(x), spec(h)
	for i := range a {
		a[i] *= b[i]
	}
	return append([]float64(nil), fft.Inverse(a)[:len(x)]...)
}

// Samples lost and repeated, many and few, in the middle and near the ends, in
// a room and in noise: found, told in size to 50 µs and in place to 50 ms.
func TestLossesAreFound(t *testing.T) {
	for i, tt := range []struct {
		length, at float64 // seconds of the clip
		lost       int     // samples
		noise      float64
	}{
		{40, 25, 16, 0.02}, {30, 21, -16, 0.02}, {40, 12, -8000, 0.02},
		{30, 2.5, 1600, 0.005}, {30, 27.5, -48, 0.005}, {120, 50, 800, 0.02},
	} {
		rng := rand.New(rand.NewPCG(uint64(i), 41))
		truth := Alignment{5.25, 30e-6}
		x := talk(rng, int((tt.length+14)*dsp.ProxyRate))
		clip := noisy(rng, roomed(rng, heard(x, int(tt.length*dsp.ProxyRate), truth), 0.1), tt.noise)
		cut := int(truth.Sound(tt.at) * dsp.ProxyRate)
		sound := noisy(rng, spliced(x, cut, tt.lost), 0.001)
		guess := Guess{At: tt.length / 2, Sound: truth.Sound(tt.length/2) + 0.01}
		if tt.at < guess.At {
			guess.Sound -= float64(tt.lost) / dsp.ProxyRate
		}
		f, err := Find(clip, sound, guess)
		if err != nil || f == nil {
			t.Fatalf("%+v: Find = %v, %v", tt, f, err)
		}
		if len(f.Spans) != 2 {
			t.Errorf("%+v: spans %+v, want two", tt, f.Spans)
			continue
		}
		lost := float64(tt.lost) / dsp.ProxyRate
		if e := f.Spans[1].Lost - lost; math.Abs(e) > 50e-6 {
			t.Errorf("%+v: lost %.3f ms, want %.3f", tt, f.Spans[1].Lost*1e3, lost*1e3)
		}
		at := f.Spans[0].To
		from, to := at+0.05, tt.at+math.Min(0, lost) // told too early, or too late
		if at > tt.at {
			from, to = tt.at, at-0.05
		}
		if loud := power(x, truth.Sound(from), truth.Sound(to)) / power(x, 0, 1e9); loud > 0.05 {
			t.Errorf("%+v: told at %.3f s, with %.2f of the talk's power between", tt, at, loud)
		}
		for _, at := range []float64{0.1, tt.at - 0.6, tt.at + 0.6, tt.length - 0.1} {
			want := truth.Sound(at)
			if at > tt.at {
				want -= lost
			}
			if e := f.At(at) - want; math.Abs(e) > 60e-6 {
				t.Errorf("%+v: off by %.1f µs at %.1f s", tt, e*1e6, at)
			}
		}
	}
}

// What is found by a few seconds after a loss, too short to know their drift,
// knows it once all of the take is measured.
func TestAllOfATakeTellsItsDrift(t *testing.T) {
	const length, at, lost = 92.0, 79.0, -5400 // seconds; samples
	for _, seed := range []uint64{0, 3} {
		rng := rand.New(rand.NewPCG(seed, 53))
		truth := Alignment{5.25, -25e-6}
		x := talk(rng, (length+14)*dsp.ProxyRate)
		clip := noisy(rng, roomed(rng, heard(x, length*dsp.ProxyRate, truth), 0.1), 0.02)
		sound := noisy(rng, spliced(x, int(truth.Sound(at)*dsp.ProxyRate), lost), 0.001)
		f, err := Find(clip, sound, Guess{At: 88, Sound: truth.Sound(88) - lost/float64(dsp.ProxyRate) + 0.01})
		if err != nil || f == nil {
			t.Fatalf("seed %d: Find = %v, %v", seed, f, err)
		}
		if len(f.Spans) != 2 || math.Abs(f.Drift-truth.Drift) > 0.2e-6 || f.DriftSigma > 0.2e-6 {
			t.Errorf("seed %d: spans %+v, drift %.2f ± %.2f ppm, want two and %.2f", seed, f.Spans, f.Drift*1e6, f.DriftSigma*1e6, truth.Drift*1e6)
		}
	}
}

// Takes that lie on one line stay on one, in rooms and noise, and where a
// second talker stands farther from the body mic: what he says comes later,
// and what follows does not.
func TestNoLossIsInvented(t *testing.T) {
	for seed := range uint64(6) {
		rng := rand.New(rand.NewPCG(seed, 43))
		length := 12 + 8*float64(seed)
		truth := Alignment{3.1, (rng.Float64() - 0.5) * 2e-4}
		x := talk(rng, int((length+8)*dsp.ProxyRate))
		y := append([]float64(nil), x...)
		if seed%3 == 0 {
			from, to, late := int((length/2)*dsp.ProxyRate), int((length/2+3)*dsp.ProxyRate), 130
			copy(y[from:to], x[from-late:to-late])
		}
		clip := noisy(rng, roomed(rng, heard(y, int(length*dsp.ProxyRate), truth), 0.3), 0.03)
		f, err := Find(clip, noisy(rng, x, 0.001), Guess{At: length / 2, Sound: truth.Sound(length / 2)})
		if err != nil || f == nil {
			t.Fatalf("seed %d: Find = %v, %v", seed, f, err)
		}
		if f.Spans != nil {
			t.Errorf("seed %d, %.0f s: spans %+v, want none", seed, length, f.Spans)
		}
	}
}

// A clock that bends by 60 ppm in 160 s, 1.2 ms off its chord, is
// followed within 50 µs by lines that join; losses amid a bend are found too.
func TestBendIsFollowed(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 47))
	const length, bend = 160.0, 60e-6
	truth := func(t float64) float64 { return 4.2 + t*(1-10e-6) + bend/length/2*t*t }
	x := talk(rng, int((length+10)*dsp.ProxyRate))
	var parts []float64
	for at := 0.0; at < length; at += 0.5 { // half-seconds along tangents: under 0.1 µs off
		line := Alignment{Drift: -10e-6 + bend/length*(at+0.25)}
		line.Offset = truth(at)
		parts = append(parts, heard(x, dsp.ProxyRate/2, line)...)
	}
	clip := noisy(rng, parts, 0.02)
	for name, lost := range map[string]int{"bend": 0, "bend and loss": 700} {
		cut := int(truth(90) * dsp.ProxyRate)
		f, err := Find(clip, noisy(rng, spliced(x, cut, lost), 0.001), Guess{At: 60, Sound: truth(60)})
		if err != nil || f == nil || len(f.Spans) < 3 {
			t.Fatalf("%s: Find = %+v, %v", name, f, err)
		}
		for i, s := range f.Spans[1:] {
			last := f.Spans[i]
			if step := s.Sound(s.From) - last.Sound(s.From); s.Lost == 0 && math.Abs(step) > 1e-6 {
				t.Errorf("%s: a step of %.2f µs at %.1f s", name, step*1e6, s.From)
			}
		}
		for at := 0.0; at <= length; at += 5 {
			want := truth(at)
			if at > 91 {
				want -= float64(lost) / dsp.ProxyRate
			}
			if e := f.At(at) - want; math.Abs(e) > 50e-6 && math.Abs(at-90) > 1 {
				t.Errorf("%s: off by %.1f µs at %.0f s", name, e*1e6, at)
			}
		}
		if n := f.Losses(); n != min(lost, 1) {
			t.Errorf("%s: %d losses", name, n)
		}
	}
}

// The polynomials are Legendre's: P2 = (3x²-1)/2, P3 = (5x³-3x)/2, P4 =
// (35x⁴-30x²+3)/8 (Abramowitz & Stegun 22.3.8).
func TestLegendre(t *testing.T) {
	for _, x := range []float64{-1, -0.3, 0, 0.5, 1} {
		p := legendre(x, 4)
		for i, want := range []float64{x, (3*x*x - 1) / 2, (5*x*x*x - 3*x) / 2, (35*x*x*x*x - 30*x*x + 3) / 8} {
			if math.Abs(p[i]-want) > 1e-14 {
				t.Errorf("P%d(%g) = %g, want %g", i+1, x, p[i], want)
			}
		}
	}
}

// Spans turn about their Mid and move with their files.
func TestSpansTurnAndMove(t *testing.T) {
	f := Found{Alignment: Alignment{3, 50e-6}, Mid: 10, DriftSigma: math.Inf(1),
		Spans: []Span{{From: 0, To: 20, Mid: 10, Alignment: Alignment{3, 50e-6}}, {From: 20.1, To: 40, Mid: 30, Alignment: Alignment{2.9, 50e-6}, Lost: 0.1}}}
	g := f.WithDrift(20e-6, 1e-6)
	for _, at := range []float64{10, 30} {
		if math.Abs(g.At(at)-f.At(at)) > 1e-12 || g.LineAt(at).Drift != 20e-6 {
			t.Errorf("at %g s: %+v", at, g.LineAt(at))
		}
	}
	h := f.Later(100)
	if math.Abs(h.At(130)-f.At(30)-100) > 1e-9 || h.Spans[1].From != 120.1 {
		t.Errorf("%+v", h.Spans)
	}
}

// coupled finds a couple's sound in its clip, looked for about clip time at.
func coupled(t *testing.T, c scene.Couple, at float64) (*scene.Scene, *Found) {
	t.Helper()
	phrases, err := scene.Phrases()
	if err != nil {
		t.Fatal(err)
	}
	s := c.Scene(phrases)
	sound, _ := s.SoundTime(0, 0, at)
	f, err := Find(Samples(s.Render(&s.Clips[0], dsp.ProxyRate)), Samples(s.Render(&s.Sounds[0], dsp.ProxyRate)), Guess{At: at, Sound: sound})
	if err != nil || f == nil {
		t.Fatal(f, err)
	}
	return s, f
}

// A talker who walks seven metres away makes the sound later by 20.4 ms: the two
// ends lie where they lie, and the clocks' drift is theirs, whatever he did.
func TestAWalkIsNoDrift(t *testing.T) {
	s, f := coupled(t, scene.Couple{Seed: 2, Length: 60, PPM: 20, Noise: scene.Pink, SNR: 10, RT60: 0.5, Walk: 7}, 8)
	for _, at := range []float64{1, 20, 40, 59} {
		want, _ := s.SoundTime(0, 0, at)
		if e := f.At(at) - want; math.Abs(e) > 10e-6 {
			t.Errorf("off by %.1f µs at %g s", e*1e6, at)
		}
	}
	if off := f.LineAt(1).Drift - 20e-6; math.Abs(off) > 3*f.DriftSigma {
		t.Errorf("drift off by %.2f ppm, sigma %.2f", off*1e6, f.DriftSigma*1e6)
	}
}

// As much talk before a walk of two metres as after it makes two tops of equal
// height in a measured room (testdata of package scene). Neither is the take's.
func TestAWalkInTheMiddle(t *testing.T) {
	rooms, err := scene.Rooms()
	if err != nil {
		t.Fatal(err)
	}
	cellar := slices.IndexFunc(rooms, func(r *scene.Response) bool { return r.Name == "stone-cellar" })
	s, f := coupled(t, scene.Couple{Seed: 70049, Length: 102.954, PPM: -20.9171, Noise: scene.Pink, SNR: 7.46637, Room: rooms[cellar], Walk: -2.18559}, 50)
	for _, at := range []float64{1, 25, 45, 60, 80, 102} {
		want, _ := s.SoundTime(0, 0, at)
		if e := f.At(at) - want; math.Abs(e) > 0.1e-3 {
			t.Errorf("off by %.3f ms at %g s", e*1e3, at)
		}
	}
}

// A trail between two that agree goes before a short one of these does, if it
// stands lower than both; a span before a short stray stays.
func TestTrailsAreJoined(t *testing.T) {
	const reach = 400
	trailOf := func(from float64, lag int, heights ...float64) trail {
		var r trail
		for i, h := range heights {
			k := mark{at: from + float64(i)/2, m: make([]int16, 2*reach+1), lag: lag, weight: 1}
			k.m[reach+lag] = int16(h / matchStep)
			r.marks = append(r.marks, k)
		}
		return r
	}
	many := []float64{20, 20, 20, 20, 20, 20, 20, 20}
	alike := func(r trail, lag int, share float64) trail { // so high at lag too
		for i := range r.marks {
			k := &r.marks[i]
			k.m[reach+lag] = int16(share * k.height(k.lag) / matchStep)
		}
		return r
	}
	for _, tt := range []struct {
		name   string
		trails []trail
		want   int
	}{
		{"a stray before the last window", []trail{trailOf(0, 0, many...), trailOf(4, 300, 10, 12), trailOf(5, 0, 23)}, 1},
		{"a span before a stray window", []trail{trailOf(0, 0, many...), trailOf(4, 300, many...), trailOf(8, 0, 9)}, 2},
		{"two spans", []trail{trailOf(0, 0, many...), trailOf(4, 300, many...)}, 2},
		{"three", []trail{trailOf(0, 0, many...), trailOf(4, 300, many...), trailOf(8, -100, many...)}, 3},
		{"a clap at the start that sounds as a reflection does", []trail{alike(trailOf(0, 160, 2, 60, 64), 0, 0.79), trailOf(1.5, 0, many...)}, 1},
		{"the same at the end", []trail{trailOf(0, 0, many...), alike(trailOf(4, 160, 60, 64), 0, 0.79)}, 1},
		{"a loss at the start", []trail{alike(trailOf(0, 160, 20, 22), 0, 0.4), trailOf(1, 0, many...)}, 2},
		{"two spans with a strong reflection", []trail{alike(trailOf(0, 160, many...), 0, 0.79), trailOf(4, 0, many...)}, 2},
		{"one window", []trail{trailOf(0, 0, many...), trailOf(4, 300, 20)}, 1},
	} {
		if got := joined(tt.trails); len(got) != tt.want {
			t.Errorf("%s: %d spans, want %d", tt.name, len(got), tt.want)
		}
	}
}

// Halves that stand each at a place of their own are told, not those of which one
// or both stand at the other's as well, nor those that show too little.
func TestHalvesWithPlacesOfTheirOwn(t *testing.T) {
	const reach, n = 1200, 10
	rng := rand.New(rand.NewPCG(3, 59))
	for _, tt := range []struct {
		first, second [2]float64 // heights at lags of -100 and 300 points
		want          bool
	}{
		{[2]float64{30, 3}, [2]float64{4, 31}, true},
		{[2]float64{-30, -3}, [2]float64{-4, -31}, true},
		{[2]float64{30, 3}, [2]float64{31, 4}, false},
		{[2]float64{30, 26}, [2]float64{4, 31}, false},
		{[2]float64{30, 25}, [2]float64{25, 30}, false},
		{[2]float64{0, 0}, [2]float64{0, 31}, false},
	} {
		windows := make([]window, n)
		for k := range windows {
			r := make([]float32, 2*reach+1)
			for i := range r {
				r[i] = float32(rng.NormFloat64())
			}
			heights := tt.first
			if k >= n/2 {
				heights = tt.second
			}
			r[reach-100] += float32(heights[0])
			r[reach+300] += float32(heights[1])
			windows[k] = window{at: float64(k), r: r, weight: 1}
		}
		s := newStack(windows, reach)
		like, top, apart := s.apart(s.highest(0, 0, 0, Tolerance))
		if apart != tt.want {
			t.Errorf("%+v: apart %v", tt, apart)
		}
		if own := like.highest(0, 0, 0, Tolerance); apart && (len(like.windows) != n/2 || own.delta != top.delta) {
			t.Errorf("%+v: %d windows, top %g, its own %g", tt, len(like.windows), top.delta, own.delta)
		}
	}
}

// Where a walk cannot be followed it is said that a part lies elsewhere.
func TestAWalkThatIsNotFollowed(t *testing.T) {
	for _, walk := range []float64{0, 5} {
		_, f := coupled(t, scene.Couple{Seed: 2, Length: 40, PPM: 20, Noise: scene.Pink, SNR: 10, RT60: 0.4, Walk: walk}, 8)
		if f.Spans == nil && f.Astray != (walk > 0) {
			t.Errorf("walk of %g m: astray %v", walk, f.Astray)
		}
	}
}
