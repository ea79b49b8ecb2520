package match

import (
	"math"
	"math/rand/v2"
	"runtime"
	"testing"

	"earshot/internal/dsp"
)

// syllables is noise that comes and goes, as speech does.
func syllables(rng *rand.Rand, seconds float64) []float32 {
	x := make([]float32, int(seconds*dsp.ProxyRate))
	env, goal, low := 0.0, 0.0, 0.0
	colour := 0.3
	for i := range x {
		if i%2000 == 0 {
			goal, colour = 0, 0.1+0.8*rng.Float64()
			if rng.Float64() < 0.6 {
				goal = rng.Float64()
			}
		}
		env += (goal - env) * 0.003
		low += (rng.NormFloat64() - low) * colour
		x[i] = float32(0.3 * env * low)
	}
	return x
}

func sketch(x []float32) dsp.SketchBytes {
	s := dsp.NewSketcher()
	s.Write(x)
	return s.Close()
}

// halves is what Halve made of a sketch.
type halves []byte

func halved(t *testing.T, s dsp.Sketch) halves {
	t.Helper()
	h := halves{}
	if err := Halve(s, func(rows []byte) error { h = append(h, rows...); return nil }); err != nil {
		t.Fatal(err)
	}
	return h
}

func (h halves) Rows() int { return len(h) / HalfBands }

func (h halves) ReadRows(dst []byte, first int) error {
	clear(dst)
	for i := range dst {
		if at := first*HalfBands + i; at >= 0 && at < len(h) {
			dst[i] = h[at]
		}
	}
	return nil
}

// of is what a search at a grain reads of a sketch.
func (g Grain) of(t *testing.T, s dsp.Sketch) dsp.Sketch {
	if g == Half {
		return halved(t, s)
	}
	return s
}

func newClip(t *testing.T, s dsp.Sketch) *Clip {
	t.Helper()
	c, err := NewClip(s, Whole)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func search(t *testing.T, clips []*Clip, sound dsp.Sketch, most int) [][]Candidate {
	t.Helper()
	got, err := Search(clips, sound, most)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// heard is x between two times with a room's tail and noise.
func heard(rng *rand.Rand, x []float32, from, to, noise float64) []float32 {
	cut := x[int(from*dsp.ProxyRate):int(to*dsp.ProxyRate)]
	out := make([]float32, len(cut))
	for i := range out {
		for tap := range 12 {
			if j := i - tap*tap*97; j >= 0 {
				out[i] += cut[j] * float32(math.Pow(0.75, float64(tap)))
			}
		}
		out[i] += float32(noise * rng.NormFloat64())
	}
	return out
}

func TestSearchFindsThePlace(t *testing.T) {
	for _, tt := range []struct {
		name     string
		from, to float64 // of the sound, seconds
		length   float64 // of the sound
		noise    float64
		least    float64 // score
	}{
		{"half a minute in five", 100, 130, 300, 0.01, 8},
		{"six seconds", 41, 47, 120, 0.01, 6},
		{"as loud a noise", 20, 80, 120, 0.1, 6},
		{"four minutes", 30, 270, 300, 0.01, 8},
		{"eight minutes, several pieces", 300, 780, 900, 0.01, 9},
		{"over the border of two blocks", 480, 530, 900, 0.01, 9},
		{"at the very start", 0, 30, 90, 0.01, 8},
		{"at the very end", 60, 90, 90, 0.01, 8},
	} {
		t.Run(tt.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(3, uint64(tt.to)))
			x := syllables(rng, tt.length)
			clip := newClip(t, sketch(heard(rng, x, tt.from, tt.to, tt.noise)))
			got := search(t, []*Clip{clip}, sketch(x), 3)[0]
			wantPlace(t, got, tt.from, 0.04, tt.least, 0.5)
		})
	}
}

// wantPlace holds the candidates against where the clip begins in the sound, within
// so many seconds: the first scores at least so high, the second at most a share
// of that.
func wantPlace(t *testing.T, got []Candidate, from, within, least, second float64) {
	t.Helper()
	if len(got) == 0 {
		t.Fatal("no candidate")
	}
	if off := got[0].Sound - got[0].At - from; math.Abs(off) > within {
		t.Errorf("off by %.3f s, want within %.2f", off, within)
	}
	if got[0].Score < least {
		t.Errorf("score %.1f, want %.0f and more", got[0].Score, least)
	}
	if len(got) > 1 && got[1].Score > second*got[0].Score {
		t.Errorf("second place scores %.1f beside %.1f", got[1].Score, got[0].Score)
	}
}

// A clip that starts before the sound and one that outlasts it lie at negative
// times and past its end.
func TestSearchPastTheEnds(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	x := syllables(rng, 100)
	sound := sketch(x[20*dsp.ProxyRate : 70*dsp.ProxyRate])
	for _, from := range []float64{5, 50} {
		clip := newClip(t, sketch(heard(rng, x, from, from+40, 0.01)))
		got := search(t, []*Clip{clip}, sound, 1)[0]
		if len(got) != 1 || math.Abs(got[0].Sound-got[0].At-(from-20)) > 0.04 {
			t.Errorf("clip from %.0f s: %+v, want an offset of %.0f s", from, got, from-20)
		}
	}
}

// Many clips at once give what each gives alone.
func TestSearchForMany(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	x := syllables(rng, 200)
	sound := sketch(x)
	var clips []*Clip
	for i := range 40 {
		clips = append(clips, newClip(t, sketch(heard(rng, x, float64(4*i), float64(4*i+12), 0.01))))
	}
	all := search(t, clips, sound, 2)
	for _, i := range []int{0, 31, 32, 39} {
		if one := search(t, clips[i:i+1], sound, 2)[0]; one[0] != all[i][0] {
			t.Errorf("clip %d: %+v alone, %+v among many", i, one[0], all[i][0])
		}
	}
}

func TestSearchOfNothing(t *testing.T) {
	silent := make(dsp.SketchBytes, 500*dsp.SketchBands)
	rng := rand.New(rand.NewPCG(7, 7))
	talk := sketch(syllables(rng, 20))
	for name, pair := range map[string][2]dsp.SketchBytes{
		"silent clip":      {silent, talk},
		"silent sound":     {talk, silent},
		"empty clip":       {nil, talk},
		"empty sound":      {talk, nil},
		"one row":          {talk[:dsp.SketchBands], talk},
		"a sound of a row": {talk, talk[:dsp.SketchBands]},
	} {
		for _, c := range search(t, []*Clip{newClip(t, pair[0])}, pair[1], 3)[0] {
			if c.Score > 3 || math.IsNaN(c.Score) {
				t.Errorf("%s: candidate %+v", name, c)
			}
		}
	}
}

// The blocks that a sound is gone through in leave no place out, at either
// grain: the answer is that of the definition, worked out place by place.
func TestSearchAgainstTheDefinition(t *testing.T) {
	rng := rand.New(rand.NewPCG(32, 1))
	x := syllables(rng, 1500) // several blocks
	sound, short := sketch(x), sketch(heard(rng, x, 700, 712, 0.02))
	for _, g := range []Grain{Whole, Half} {
		clip, err := NewClip(g.of(t, short), g)
		if err != nil {
			t.Fatal(err)
		}
		got := search(t, []*Clip{clip}, g.of(t, sound), 1)[0]
		sx, cx := coarse(t, sound, g), coarse(t, short, g)
		rows, best, at := len(cx[0]), 0.0, 0
		for o := 0; o+rows <= len(sx[0]); o++ {
			var dot, e float64
			for b := range sx {
				for i, y := range sx[b][o : o+rows] {
					dot += cx[b][i] * y
					e += y * y
				}
			}
			if r := dot / math.Sqrt(e); r > best {
				best, at = r, o
			}
		}
		if want := float64(at) / g.rate(); math.Abs(got[0].Sound-got[0].At-want) > 1e-9 {
			t.Errorf("grain %v: the best offset is %.2f s, the definition says %.2f", g, got[0].Sound-got[0].At, want)
		}
	}
}

// coarse is a sketch's feature by its definition: bands and rows added up.
func coarse(t *testing.T, s dsp.Sketch, g Grain) [][]float64 {
	t.Helper()
	f, err := newFeature(s, Whole)
	if err != nil {
		t.Fatal(err)
	}
	fine := newStretch(dsp.SketchBands, s.Rows()/g.step*g.step)
	if err := f.read(fine, 0); err != nil {
		t.Fatal(err)
	}
	out := make([][]float64, g.bands())
	for b := range out {
		out[b] = make([]float64, s.Rows()/g.step)
		for _, band := range fine[b*g.join : (b+1)*g.join] {
			for i, v := range band {
				out[b][i/g.step] += float64(v)
			}
		}
	}
	return out
}

// Ten hours are searched with what memory ten minutes take.
func TestSearchMemoryDoesNotGrow(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	clip := newClip(t, sketch(syllables(rng, 30)))
	used := func(hours float64) uint64 {
		sound := make(dsp.SketchBytes, int(hours*3600*dsp.SketchRate)*dsp.SketchBands)
		for i := range sound {
			sound[i] = byte(100 + 20*rng.Float64())
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		search(t, []*Clip{clip}, sound, 3)
		runtime.ReadMemStats(&after)
		return after.TotalAlloc - before.TotalAlloc
	}
	short, long := used(1.0/6), used(10)
	t.Logf("allocated in all: %.1f MB for ten minutes, %.1f for ten hours", float64(short)/1e6, float64(long)/1e6)
	if long > short+6<<20 {
		t.Errorf("ten hours allocate %.1f MB, ten minutes %.1f", float64(long)/1e6, float64(short)/1e6)
	}
}

// At half the grain the same places are found, not much fainter.
func TestSearchAtHalfTheGrain(t *testing.T) {
	rng := rand.New(rand.NewPCG(36, 1))
	x := syllables(rng, 300)
	sound := sketch(x)
	for _, tt := range []struct{ from, to, noise float64 }{{100, 130, 0.01}, {41, 47, 0.01}, {20, 80, 0.1}, {30, 270, 0.01}, {0, 30, 0.01}, {270, 300, 0.01}} {
		s := sketch(heard(rng, x, tt.from, tt.to, tt.noise))
		half, err := NewClip(halved(t, s), Half)
		if err != nil {
			t.Fatal(err)
		}
		got, want := search(t, []*Clip{half}, halved(t, sound), 1)[0], search(t, []*Clip{newClip(t, s)}, sound, 1)[0]
		if len(got) == 0 {
			t.Fatalf("%g s to %g: no candidate", tt.from, tt.to)
		}
		if off := got[0].Sound - got[0].At - tt.from; math.Abs(off) > 0.05 {
			t.Errorf("%g s to %g: off by %.3f s", tt.from, tt.to, off)
		}
		if got[0].Score < 0.7*want[0].Score {
			t.Errorf("%g s to %g: score %.1f, at the whole grain %.1f", tt.from, tt.to, got[0].Score, want[0].Score)
		}
	}
}

// At half the grain it finds the place within what is then searched closely, 60
// ms, and makes it stand out of all others.
func TestSearchAtHalfTheGrainFindsThePlace(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 1))
	x := syllables(rng, 900)
	sound := halved(t, sketch(x))
	for _, tt := range []struct {
		name            string
		from, to, noise float64
		least           float64 // score
	}{
		{"half a minute", 100, 130, 0.01, 9},
		{"ten seconds", 411, 421, 0.01, 9},
		{"as loud a noise", 520, 580, 0.1, 7},
		{"eight minutes, several pieces", 300, 780, 0.01, 9},
		{"over the border of two blocks", 435, 500, 0.01, 9},
		{"at the very start", 0, 40, 0.01, 9},
		{"at the very end", 860, 900, 0.01, 9},
	} {
		t.Run(tt.name, func(t *testing.T) {
			clip, err := NewClip(halved(t, sketch(heard(rng, x, tt.from, tt.to, tt.noise))), Half)
			if err != nil {
				t.Fatal(err)
			}
			got := search(t, []*Clip{clip}, sound, 2)[0]
			wantPlace(t, got, tt.from, 0.05, tt.least, 0.8)
		})
	}
}
