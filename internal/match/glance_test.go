package match

import (
	"math"
	"math/rand/v2"
	"runtime"
	"testing"

	"earshot/internal/dsp"
)

func newGlance(t *testing.T, s dsp.Sketch) *Glance {
	t.Helper()
	g, err := NewGlance(s)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func look(t *testing.T, clips []*Glance, sound dsp.Sketch, most int) [][]Candidate {
	t.Helper()
	got, err := Look(clips, sound, most)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// A glance finds the place within what is then searched closely, 60 ms, and
// makes it stand out of all others.
func TestGlanceFindsThePlace(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 1))
	x := syllables(rng, 900)
	sound := sketch(x)
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
			clip := newGlance(t, sketch(heard(rng, x, tt.from, tt.to, tt.noise)))
			got := look(t, []*Glance{clip}, sound, 2)[0]
			if len(got) == 0 {
				t.Fatal("no candidate")
			}
			if off := got[0].Sound - got[0].At - tt.from; math.Abs(off) > 0.05 {
				t.Errorf("off by %.3f s", off)
			}
			if got[0].Score < tt.least {
				t.Errorf("score %.1f, want %.0f and more", got[0].Score, tt.least)
			}
			if len(got) > 1 && got[1].Score > 0.8*got[0].Score {
				t.Errorf("second place scores %.1f beside %.1f", got[1].Score, got[0].Score)
			}
		})
	}
}

// The blocks that a sound is gone through in leave no place out: the answer is
// that of the definition, worked out place by place.
func TestGlanceAgainstTheDefinition(t *testing.T) {
	rng := rand.New(rand.NewPCG(32, 1))
	x := syllables(rng, 1500) // three blocks
	sound, short := sketch(x), sketch(heard(rng, x, 700, 712, 0.02))
	clip := newGlance(t, short)
	got := look(t, []*Glance{clip}, sound, 1)[0]
	sf, err := newFeature(sound, Whole)
	if err != nil {
		t.Fatal(err)
	}
	cf, err := newFeature(short, Whole)
	if err != nil {
		t.Fatal(err)
	}
	fine := func(f *feature, rows int) stretch {
		s := newStretch(dsp.SketchBands, rows)
		if err := f.read(s, 0); err != nil {
			t.Fatal(err)
		}
		return s
	}
	coarse := func(s stretch) (out [glanceBands][]float64) {
		for band := range out {
			for i := 0; i+1 < len(s[0]); i += 2 {
				var v float64
				for b := 4 * band; b < 4*band+4; b++ {
					v += float64(s[b][i]) + float64(s[b][i+1])
				}
				out[band] = append(out[band], v)
			}
		}
		return out
	}
	n, rows := sound.Rows()/2, short.Rows()/2
	sx, cx := coarse(fine(sf, 2*n)), coarse(fine(cf, 2*rows))
	best, at := 0.0, 0
	for o := 0; o+rows <= n; o++ {
		var dot, e float64
		for band := range glanceBands {
			for i, y := range sx[band][o : o+rows] {
				dot += cx[band][i] * y
				e += y * y
			}
		}
		if r := dot / math.Sqrt(e); r > best {
			best, at = r, o
		}
	}
	if want := float64(at) / glanceGrain.rate(); math.Abs(got[0].Sound-got[0].At-want) > 1e-9 {
		t.Errorf("the best offset is %.2f s, the definition says %.2f", got[0].Sound-got[0].At, want)
	}
}

// Many clips at once give what each gives alone.
func TestGlanceAtMany(t *testing.T) {
	rng := rand.New(rand.NewPCG(33, 1))
	x := syllables(rng, 200)
	sound := sketch(x)
	var clips []*Glance
	for i := range 12 {
		clips = append(clips, newGlance(t, sketch(heard(rng, x, float64(10*i), float64(13*i+15), 0.01))))
	}
	all := look(t, clips, sound, 2)
	for i := range clips {
		if one := look(t, clips[i:i+1], sound, 2)[0]; one[0] != all[i][0] {
			t.Errorf("clip %d: %+v alone, %+v among many", i, one[0], all[i][0])
		}
	}
}

func TestGlanceAtNothing(t *testing.T) {
	silent := make(dsp.SketchBytes, 500*dsp.SketchBands)
	rng := rand.New(rand.NewPCG(34, 1))
	talk := sketch(syllables(rng, 20))
	for name, pair := range map[string][2]dsp.SketchBytes{
		"silent clip":      {silent, talk},
		"silent sound":     {talk, silent},
		"empty clip":       {nil, talk},
		"empty sound":      {talk, nil},
		"one row":          {talk[:dsp.SketchBands], talk},
		"a sound of a row": {talk, talk[:dsp.SketchBands]},
	} {
		for _, c := range look(t, []*Glance{newGlance(t, pair[0])}, pair[1], 3)[0] {
			if c.Score > 3 || math.IsNaN(c.Score) {
				t.Errorf("%s: candidate %+v", name, c)
			}
		}
	}
}

func TestGlanceMemoryDoesNotGrow(t *testing.T) {
	rng := rand.New(rand.NewPCG(35, 1))
	clip := newGlance(t, sketch(syllables(rng, 30)))
	used := func(hours float64) uint64 {
		sound := make(dsp.SketchBytes, int(hours*3600*dsp.SketchRate)*dsp.SketchBands)
		for i := range sound {
			sound[i] = byte(100 + 20*rng.Float64())
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		look(t, []*Glance{clip}, sound, 3)
		runtime.ReadMemStats(&after)
		return after.TotalAlloc - before.TotalAlloc
	}
	short, long := used(1.0/6), used(10)
	if long > short+8<<20 {
		t.Errorf("ten hours allocate %.1f MB, ten minutes %.1f", float64(long)/1e6, float64(short)/1e6)
	}
}

// At half the grain the full search finds the same places, not much fainter.
func TestSearchAtHalfTheGrain(t *testing.T) {
	rng := rand.New(rand.NewPCG(36, 1))
	x := syllables(rng, 300)
	sound := sketch(x)
	for _, tt := range []struct{ from, to, noise float64 }{{100, 130, 0.01}, {41, 47, 0.01}, {20, 80, 0.1}, {30, 270, 0.01}, {0, 30, 0.01}, {270, 300, 0.01}} {
		s := sketch(heard(rng, x, tt.from, tt.to, tt.noise))
		half, err := NewClip(s, Half)
		if err != nil {
			t.Fatal(err)
		}
		got, want := search(t, []*Clip{half}, sound, 1)[0], search(t, []*Clip{newClip(t, s)}, sound, 1)[0]
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
