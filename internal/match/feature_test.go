package match

import (
	"math"
	"math/rand/v2"
	"testing"

	"earshot/internal/dsp"
)

// Rows read from anywhere on, in and about the recording, are the changes of
// level that the definition gives.
func TestFeatureAgainstTheDefinition(t *testing.T) {
	rng := rand.New(rand.NewPCG(41, 1))
	for _, rows := range []int{1, 2, 3, 8, 200, 5000} {
		s := make(dsp.SketchBytes, rows*dsp.SketchBands)
		for i := range s {
			s[i] = byte(rng.IntN(256))
		}
		for _, g := range []Grain{Whole, Half} {
			f, err := newFeature(g.of(t, s), g)
			if err != nil {
				t.Fatal(err)
			}
			for _, first := range []int{-7000, -5, -2, -1, 0, 1, 2, rows/g.step - 3, rows/g.step - 1, rows / g.step, rows + 3} {
				for _, n := range []int{1, 2, 7, 2048, 4500} {
					got := newStretch(g.bands(), n)
					if err := f.read(got, first); err != nil {
						t.Fatal(err)
					}
					wantRows(t, g, s, got, first)
				}
			}
		}
	}
}

func wantRows(t *testing.T, g Grain, s dsp.SketchBytes, got stretch, first int) {
	t.Helper()
	f, err := newFeature(s, Whole)
	if err != nil {
		t.Fatal(err)
	}
	rows, unit, near := s.Rows(), 1.0, 1e-4
	if g == Half {
		unit, near = halfStep, halfStep/2+1e-4
	}
	for b, band := range got {
		for i, v := range band {
			var want float64
			for row := (first + i) * g.step; row < (first+i+1)*g.step && first+i < rows/g.step; row++ {
				for k := b * g.join; k < (b+1)*g.join && row > 0 && row < rows-1; k++ {
					d := f.level[k][s[(row+1)*dsp.SketchBands+k]] - f.level[k][s[(row-1)*dsp.SketchBands+k]]
					want += float64(max(-steepest, min(steepest, d)))
				}
			}
			if d := unit*float64(v) - want; math.Abs(d) > near {
				t.Fatalf("%d rows, grain %v, row %d of those from %d on, band %d: %g, want %g", rows, g, i, first, b, v, want)
			}
		}
	}
}
