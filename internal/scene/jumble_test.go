package scene

import (
	"math"
	"testing"
)

// A jumbled excerpt has the sound of the other in another order: as long, as
// loud, and nowhere alike for longer than a piece.
func TestJumbled(t *testing.T) {
	phrases, err := Phrases()
	if err != nil {
		t.Fatal(err)
	}
	e := phrases[0]
	j := Jumbled(e, 1)
	pieces := len(syllables(e))
	if want := len(e.Samples) - (pieces-1)*int(pieceFade*e.Rate); len(j.Samples) != want {
		t.Errorf("%d samples of %d in %d pieces, want %d", len(j.Samples), len(e.Samples), pieces, want)
	}
	rms := func(x []float32) float64 {
		var s float64
		for _, v := range x {
			s += float64(v) * float64(v)
		}
		return math.Sqrt(s / float64(len(x)))
	}
	if r := rms(j.Samples) / rms(e.Samples); math.Abs(r-1) > 0.05 {
		t.Errorf("level %.3f of the excerpt's", r)
	}
	half := int(e.Rate / 2)
	mid := e.Samples[len(e.Samples)/2:][:half]
	for at := 0; at+half <= len(j.Samples); at++ {
		var xy, yy float64
		for i, v := range j.Samples[at : at+half] {
			xy += float64(v) * float64(mid[i])
			yy += float64(v) * float64(v)
		}
		if c := xy / (rms(mid) * math.Sqrt(float64(half)*yy)); c > 0.9 {
			t.Fatalf("half a second of the excerpt stands whole at %.2f s: correlation %.2f", float64(at)/e.Rate, c)
		}
	}
}
