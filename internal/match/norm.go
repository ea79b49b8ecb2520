package match

import "math"

// norms are what the correlations of pieces with one block of a sound are
// multiplied by, but for a piece's own energy: unrelated places then have about
// unit variance. Outside of the sound they are 0. Each is worked out once a
// block, and nearly all pieces of a clip share one.
type norms[T float32 | float64] struct {
	bands  int
	sound  int       // rows of the sound
	energy []float64 // running sum over the block's rows
	places int       // of a correlation with the block

	start  int     // the block's first row
	mean   float64 // energy of a row of the sound
	byRows map[int]*norm[T]
}

// A norm is that of pieces of so many rows.
type norm[T float32 | float64] struct {
	start int // of the block it is for
	by    []T
}

func newNorms[T float32 | float64](bands, sound, places int, energy []float64) *norms[T] {
	return &norms[T]{bands: bands, sound: sound, places: places, energy: energy, byRows: map[int]*norm[T]{}}
}

// of returns what the correlation with a piece of so many rows is multiplied by.
func (n *norms[T]) of(rows int) []T {
	made := n.byRows[rows]
	if made == nil {
		made = &norm[T]{math.MinInt, make([]T, n.places)}
		n.byRows[rows] = made
	}
	if made.start == n.start {
		return made.by
	}
	made.start = n.start
	floor := 0.25 * n.mean * float64(rows)
	scale := float64(rows * n.bands)
	for i := range made.by {
		made.by[i] = 0
		e := math.Max(n.energy[i+rows]-n.energy[i], floor)
		if n.start+i+rows > 0 && n.start+i < n.sound && e > 0 {
			made.by[i] = T(math.Sqrt(scale / e))
		}
	}
	return made.by
}
