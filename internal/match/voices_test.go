package match

import (
	"math"
	"math/rand/v2"
	"testing"

	"earshot/internal/dsp"
)

// turns is who speaks in every step of 0.1 s: 0, 1, or -1 for nobody.
func turns(rng *rand.Rand, steps int, share float64) []int {
	out := make([]int, 0, steps+40)
	for len(out) < steps {
		who := 1
		if rng.Float64() < share {
			who = 0
		}
		for range 10 + rng.IntN(20) {
			out = append(out, who)
		}
		for range 3 {
			out = append(out, -1)
		}
	}
	return out[:steps]
}

// levelsOf is what a microphone makes of a talk: dB of each talker, of its noise.
func levelsOf(rng *rand.Rand, who []int, dB [2]float64, noise float64) []float64 {
	out := make([]float64, len(who))
	for i, k := range who {
		out[i] = math.Pow(10, (noise+rng.NormFloat64())/10)
		if k >= 0 {
			out[i] += math.Pow(10, (dB[k]+3*rng.NormFloat64())/10)
		}
	}
	return out
}

// The truth is what the levels were made of.
func TestHearVoices(t *testing.T) {
	const a, b = 0, 1
	for _, tt := range []struct {
		name   string
		share  float64 // of talker 0
		own    [2]float64
		gain   float64
		clip   [2]float64
		nearer int // 1: a's wearer, -1: b's, 0: nothing tells
	}{
		{"both talk, the first is nearer", 0.5, [2]float64{-23, -23}, 0, [2]float64{-25, -31}, 1},
		{"the second is nearer and seldom talks", 0.85, [2]float64{-23, -23}, 5, [2]float64{-31, -25}, -1},
		{"the first is nearer and talks softly", 0.5, [2]float64{-28, -22}, -4, [2]float64{-27, -26}, 1},
		{"side by side", 0.5, [2]float64{-23, -23}, 3, [2]float64{-26, -26}, 0},
		{"only the first talks", 1, [2]float64{-23, -23}, 4, [2]float64{-26, -26}, 1},
		{"only the second talks", 0, [2]float64{-23, -23}, -4, [2]float64{-26, -20}, -1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(1, 2))
			who := turns(rng, 600, tt.share)
			x := levelsOf(rng, who, [2]float64{tt.own[a] + tt.gain, tt.own[b] - 16 + tt.gain}, -62)
			y := levelsOf(rng, who, [2]float64{tt.own[a] - 16, tt.own[b]}, -62)
			clip := levelsOf(rng, who, tt.clip, -45)
			gain, told := GainBetween(x, y)
			if both := tt.share > 0 && tt.share < 1; !told || both && math.Abs(gain-tt.gain) > 1.5 {
				t.Errorf("gain %.1f dB (%v), made with %.1f", gain, told, tt.gain)
			}
			v := HearVoices(clip, x, y, gain)
			if got := v.Nearer(); sign(got) != tt.nearer {
				t.Errorf("nearer by %.1f dB, want sign %d: %+v", got, tt.nearer, v)
			}
			if tt.share == 0.5 && math.Abs(v.A-v.B-(tt.clip[a]-tt.clip[b])) > 1 {
				t.Errorf("%.1f dB apart in the clip, made with %.1f", v.A-v.B, tt.clip[a]-tt.clip[b])
			}
		})
	}
}

// Two microphones on one table tell nobody's voice from another's.
func TestGainIsNotToldByTwoAlike(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	who := turns(rng, 600, 0.5)
	x, y := levelsOf(rng, who, [2]float64{-30, -31}, -60), levelsOf(rng, who, [2]float64{-31, -30}, -60)
	if gain, told := GainBetween(x, y); told {
		t.Errorf("gain %.1f dB is told", gain)
	}
	if gain, told := GainBetween(nil, nil); told {
		t.Errorf("gain %.1f dB of nothing", gain)
	}
}

// Levels are the powers of a sketch's bands: noise a tenth as large is 20 dB
// less, and comparing leaves them as they are.
func TestLevels(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	x := make([]float32, 10*dsp.ProxyRate)
	for i := range x {
		x[i] = float32(0.1 * rng.NormFloat64())
		if i >= len(x)/2 {
			x[i] /= 10
		}
	}
	s := dsp.NewSketcher()
	s.Write(x)
	rows := append(append([]byte{}, s.Take()...), s.Close()...)
	l := Levels(rows)
	if len(l) != 100 {
		t.Fatalf("%d steps of 0.1 s in 10 s", len(l))
	}
	if d := inDB(l[20] / l[80]); math.Abs(d-20) > 1 {
		t.Errorf("%.2f dB apart, want 20", d)
	}
	before := append([]float64{}, l...)
	HearVoices(l, l, l, 0)
	for i := range l {
		if l[i] != before[i] {
			t.Fatal("levels were changed")
		}
	}
}
