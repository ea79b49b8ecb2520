package align

import (
	"math"
	"slices"
	"sort"

	"earshot/internal/dsp"
)

// A tap is one point of the pattern that a match makes in a correlation: the
// direct sound and the room after it.
type tap struct {
	by     int // points from the direct sound
	height float32
}

// pattern is what the windows of a stack show together around top p, as far as it
// arrives within late seconds: its most strongest points, with the sum of squares
// 1, counted from the direct sound, whose lag is lead seconds larger than p's. What
// a window shows is compared with all of it: one reflection that comes out stronger
// in one window than the direct sound is then no other place.
func (s *stack) pattern(p peak, lead, late float64, most int) []tap {
	const least = 0.1 // of the highest
	acc, first, at := s.typical(p, late)
	direct := at + int(math.Round(lead/lagStep))
	top := 0.0
	for _, v := range acc {
		top = math.Max(top, math.Abs(float64(v)))
	}
	var taps []tap
	for i, v := range acc {
		if math.Abs(float64(v)) >= least*top {
			taps = append(taps, tap{first + i - direct, v})
		}
	}
	sort.Slice(taps, func(i, j int) bool { return math.Abs(float64(taps[i].height)) > math.Abs(float64(taps[j].height)) })
	taps = taps[:min(len(taps), most)]
	squares := 0.0
	for _, t := range taps {
		squares += float64(t.height) * float64(t.height)
	}
	for i := range taps {
		taps[i].height /= float32(math.Sqrt(math.Max(squares, 1e-30)))
	}
	return taps
}

// typical is the sum about p of that quarter of the take, windows in a row, that
// shows most of a pattern there: the most power from late seconds before p's lag on.
// Windows of two spans put each its own into the sum, so that it has less of either,
// and fits both places. first is the point of the first value, at that of p.
func (s *stack) typical(p peak, late float64) (sum []float32, first, at int) {
	const after = 0.003 // seconds of lag
	at = s.reach + int(math.Round(p.delta/lagStep))
	first = max(0, at-int(late/lagStep))
	last := min(2*s.reach, at+int(after/lagStep))
	n := min(len(s.windows), max(3, len(s.windows)/4))
	acc, most := make([]float32, 2*s.reach+1), -1.0
	for i := 0; i+n <= len(s.windows) && first <= last; i++ {
		part := *s
		part.windows = s.windows[i : i+n]
		part.sum(acc, p.slope)
		power, squares := 0.0, 0.0
		for _, v := range acc[first : last+1] {
			power += float64(v) * float64(v)
		}
		for k := range part.windows {
			squares += part.windows[k].weight * part.windows[k].weight
		}
		if power /= squares; power > most {
			most, sum = power, append(sum[:0], acc[first:last+1]...)
		}
	}
	return sum, first, at
}

// A mark is what a tracker keeps of a window.
type mark struct {
	at     float64 // clip seconds
	m      []int16 // the match with the pattern, in steps of matchStep
	loud   bool    // there is much to hear in the sound
	weight float64 // of it: how far its own best stands out
	lag    int     // points, once tracked
	jumped bool    // from the window before
}

// matchStep is a step of a mark's match, in deviations of the noise.
const matchStep = 1.0 / 64

// coarse keeps a match in half of the memory that trackers would hold.
func coarse(m []float32) []int16 {
	out := make([]int16, len(m))
	for i, v := range m {
		out[i] = int16(max(-math.MaxInt16, min(math.MaxInt16, v/matchStep)))
	}
	return out
}

// height is the match at a lag, in deviations of the noise: the best of the point and its neighbours.
func (k *mark) height(lag int) float64 {
	reach := len(k.m) / 2
	best := math.Inf(-1)
	for i := max(0, reach+lag-1); i <= min(len(k.m)-1, reach+lag+1); i++ {
		best = math.Max(best, float64(k.m[i])*matchStep)
	}
	return best
}

// A tracker finds the likeliest lags along a take (Viterbi 1967): every window
// says how well each lag fits, a small change from window to window costs
// little, a jump to any other lag costs jumpCost. Windows that show nothing
// alone borrow from their neighbours.
type tracker struct {
	reach int
	taps  []tap
	marks []mark
	score []float32
	back  [][]int8 // for each window but the first, and for that one where expect was called: the step taken, or jump
	best  []int    // for the same: where a jump comes from
}

const jump = math.MinInt8

func newTracker(reach int, taps []tap) *tracker { return &tracker{reach: reach, taps: taps} }

// expect has the track come from lag 0: that it begins elsewhere costs a jump.
func (t *tracker) expect() {
	t.score = make([]float32, 2*t.reach+1)
	for i := range t.score {
		if i != t.reach {
			t.score[i] = -jumpCost
		}
	}
}

// add takes a window's correlation in; from the last, its lag may have changed
// by steps points.
func (t *tracker) add(at float64, r []float32, steps int) {
	m, weight := t.match(r)
	t.marks = append(t.marks, mark{at: at, m: coarse(m), weight: weight})
	own := make([]float32, len(m))
	scale := float32(weight) * min(1, mostHeight/max(slices.Max(m), 1))
	for i, v := range m {
		own[i] = scale * max(-4, v)
	}
	if t.score == nil {
		t.score = own
		return
	}
	top := 0
	for i, v := range t.score {
		if v > t.score[top] {
			top = i
		}
	}
	back := make([]int8, len(m))
	for i := range own {
		best, step := t.score[top]-jumpCost, int8(jump)
		for d := -steps; d <= steps; d++ {
			if j := i - d; j >= 0 && j < len(own) {
				if v := t.score[j] - stepCost*float32(max(d, -d)); v > best {
					best, step = v, int8(d)
				}
			}
		}
		own[i] += best
		back[i] = step
	}
	t.score, t.back, t.best = own, append(t.back, back), append(t.best, top)
}

// match correlates r with the pattern, in deviations of its own noise, and
// tells how much the window counts.
func (t *tracker) match(r []float32) ([]float32, float64) {
	m := make([]float32, len(r))
	for _, p := range t.taps {
		from, to := max(0, -p.by), min(len(r), len(r)-p.by)
		dsp.AddScaled(m[from:to], r[from+p.by:to+p.by], p.height)
	}
	some := make([]float32, 0, len(m)/7+1)
	for i := 0; i < len(m); i += 7 {
		some = append(some, m[i])
	}
	noise := float32(math.Max(deviation(some), 1))
	best := float32(0)
	for i := range m {
		m[i] /= noise
		best = max(best, m[i])
	}
	return m, math.Max(0.3, math.Min(mostWeight, float64(best)-4))
}

// trace walks back along the best track and writes the lags down.
func (t *tracker) trace() {
	if len(t.marks) == 0 {
		return
	}
	at, first := 0, len(t.back)-len(t.marks)
	for i, v := range t.score {
		if v > t.score[at] {
			at = i
		}
	}
	for k := len(t.marks) - 1; ; k-- {
		t.marks[k].lag = at - len(t.marks[k].m)/2
		if k == 0 {
			return
		}
		if step := t.back[first+k][at]; step == jump {
			t.marks[k].jumped, at = true, t.best[first+k]
		} else {
			at -= int(step)
		}
	}
}

// astray tells whether the track leaves lag 0, or a window is not heard there
// where all others are.
func (t *tracker) astray() bool {
	t.trace()
	var heights []float64
	for i := range t.marks {
		k := &t.marks[i]
		if k.jumped || k.lag > clearlyOff || k.lag < -clearlyOff {
			return true
		}
		heights = append(heights, k.height(0))
	}
	some := append([]float64(nil), heights...)
	if dsp.Median(some) < plentiful {
		return false
	}
	for i, h := range heights {
		if h < missing && t.marks[i].loud {
			return true
		}
	}
	return false
}

// elsewhere tells whether as many windows as make a span match away from lag 0.
func (t *tracker) elsewhere() bool {
	t.trace()
	off := 0
	for i := range t.marks {
		if k := &t.marks[i]; (k.lag > clearlyOff || k.lag < -clearlyOff) && k.height(k.lag) >= plain {
			off++
		}
	}
	return off >= ownWindows
}

// A trail is a run of windows without a jump.
type trail struct{ marks []mark }

// trails parts what was tracked at its jumps.
func (t *tracker) trails() (out []trail) {
	t.trace()
	from := 0
	for i := range t.marks {
		if i > 0 && t.marks[i].jumped {
			out = append(out, trail{t.marks[from:i]})
			from = i
		}
	}
	return append(out, trail{t.marks[from:]})
}

// first and last are the windows at the ends.
func (r trail) first() *mark { return &r.marks[0] }
func (r trail) last() *mark  { return &r.marks[len(r.marks)-1] }

// height is how high the windows stand together, off points from their own
// lags, in deviations of the noise.
func (r trail) height(off int) float64 {
	var sum, squares float64
	for i := range r.marks {
		k := &r.marks[i]
		sum += k.weight * k.height(k.lag+off)
		squares += k.weight * k.weight
	}
	return sum / math.Sqrt(squares)
}

// heard counts the windows that match by themselves.
func (r trail) heard() (n int) {
	for i := range r.marks {
		if r.marks[i].height(r.marks[i].lag) >= plain {
			n++
		}
	}
	return n
}

// score is what the trail is worth to the track.
func (r trail) score() (sum float64) {
	for i := range r.marks {
		sum += r.marks[i].weight * math.Min(mostHeight, r.marks[i].height(r.marks[i].lag))
	}
	return sum
}
