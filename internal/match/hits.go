package match

import (
	"sort"

	"earshot/internal/dsp"
)

// hits are the places of one sound at which a piece stands out.
type hits struct {
	most, every int
	least       float32 // a place must stand higher
	tops        []top
	mag         []float32 // how high places stand, one in every
}

// A top is a place that stands out.
type top struct {
	at     int // row of the sound at the clip's beginning
	height float32
	piece  uint8
}

const (
	spreadFrom = 2048 // how many places the spread is told from
	apart      = 15   // rows by which two places differ
	leastTop   = 3    // about so many standard deviations a place must show at all
)

// worth is the square of the height that a place must exceed.
func (h *hits) worth() float64 { return float64(h.least) * float64(h.least) }

// keep enters a place unless a higher one stands near. The places stand
// highest first.
func (h *hits) keep(t top) {
	h.tops = insert(h.tops, t, 2*h.most)
	h.least = leastTop
	if len(h.tops) == 2*h.most {
		h.least = max(h.least, h.tops[len(h.tops)-1].height)
	}
}

// insert enters t into tops, the highest first and at most so many, unless a
// higher one stands near; lower ones that stand near make way.
func insert(tops []top, t top, most int) []top {
	out := tops[:0]
	for _, o := range tops {
		near := o.at > t.at-apart && o.at < t.at+apart
		if near && o.height >= t.height {
			return tops
		}
		if !near {
			out = append(out, o)
		}
	}
	out = append(out, t)
	sort.SliceStable(out, func(i, j int) bool { return out[i].height > out[j].height })
	return out[:min(len(out), most)]
}

// candidates puts together what a clip's pieces found.
func (c *Clip) candidates(found []hits, most int) []Candidate {
	var tops []top
	for j, h := range found {
		dev := deviation(h.mag)
		for _, t := range h.tops {
			tops = insert(tops, top{t.at, t.height / dev, uint8(j)}, most)
		}
	}
	out := make([]Candidate, len(tops))
	for i, t := range tops {
		p := &c.pieces[t.piece]
		mid := (float64(p.first) + float64(p.rows)/2) / c.grain.rate()
		out[i] = Candidate{At: mid, Sound: mid + float64(t.at)/c.grain.rate(), Score: float64(t.height)}
	}
	return out
}

// deviation of places where nothing matches, from how high they stand.
func deviation(mag []float32) float32 {
	if len(mag) == 0 {
		return 1
	}
	return max(dsp.Deviation(mag), 1e-9)
}
