package app

import (
	"testing"

	"earshot/internal/align"
)

func placeAt(offset, strength float64) *link {
	return &link{Found: &align.Found{Alignment: align.Alignment{Offset: offset}, Strength: strength, Rest: strength / 2, To: 20, Mid: 10,
		Locals: []align.Local{{At: 5}}}}
}

// The best place is kept with the two that come next, each place once, in
// whatever order they were measured.
func TestBestPlaceIsKeptWithTheNext(t *testing.T) {
	for _, order := range [][]int{{0, 1, 2, 3, 4}, {4, 3, 2, 1, 0}, {2, 0, 4, 1, 3}} {
		made := []*link{placeAt(3, 40), placeAt(3.02, 38), placeAt(9, 12), placeAt(15, 9), placeAt(21, 7)}
		var best *link
		for _, i := range order {
			best = made[i].over(best)
		}
		if best.Found.Offset != 3 || len(best.Found.Locals) != 1 {
			t.Fatalf("order %v: the best is at %g", order, best.Found.Offset)
		}
		if len(best.Others) != 2 || best.Others[0].Found.Offset != 9 || best.Others[1].Found.Offset != 15 {
			t.Errorf("order %v: others %+v", order, best.Others)
		}
		for _, o := range best.Others {
			if o.Found.Locals != nil || o.Others != nil {
				t.Errorf("order %v: another place keeps its windows or others of its own", order)
			}
		}
	}
}
