package align

import (
	"math"

	"earshot/internal/dsp"
)

// A stack adds windows coherently. A point of it is (delta, slope): every
// window k is read at lag delta + slope·(at[k]-mid).
type stack struct {
	windows []window
	reach   int
	mid     float64   // clip seconds
	half    float64   // seconds from mid to the farthest window's middle
	norm    float64   // 1/sqrt(Σ weight²): gives the stack unit variance where nothing matches
	hot     float64   // of the windows, by weight: how much of them is clipped
	noise   float64   // the deviation really seen where nothing matches, at least 1
	heard   *response // of the room, from the same windows; nil for a part of a stack
	far     bool      // see Far
}

// A peak is a place in a stack.
type peak struct {
	delta  float64 // seconds
	slope  float64 // seconds per second
	height float64 // in standard deviations of the stack where nothing matches; negative = polarity inverted
}

// later is p as a stack has it whose middle is so many seconds later.
func (p peak) later(by float64) peak {
	p.delta += p.slope * by
	return p
}

func newStack(windows []window, reach int) *stack {
	s := &stack{windows: windows, reach: reach, noise: 1}
	var sum, hot, weights float64
	for _, w := range windows {
		sum += w.weight * w.at
		hot += w.weight * w.hot
		weights += w.weight
	}
	s.mid, s.hot = sum/weights, hot/weights
	var squares float64
	for _, w := range windows {
		s.half = math.Max(s.half, math.Abs(w.at-s.mid))
		squares += w.weight * w.weight
	}
	s.norm = 1 / math.Sqrt(squares)
	return s
}

// smeared is how far p lays the first of the windows from the last, seconds.
func (s *stack) smeared(p peak) float64 { return 2 * math.Abs(p.slope) * s.half }

// search looks through all places with |slope| ≤ most and |delta| ≤ within and
// returns the one of greatest magnitude, to the nearest point. It sets noise.
//
// Neighbouring slopes part the farthest windows by two points, which a true
// match survives; around the highest every slope is tried.
func (s *stack) search(most, within float64) peak {
	step := 2 * lagStep / math.Max(s.half, 1e-3)
	n := int(math.Ceil(most / step))
	if s.half == 0 {
		n = 0
	}
	best := s.highest(0, step, n, within)
	best = s.highest(best.slope, step/4, 4, within)
	s.noise = s.quiet(best)
	return best
}

// highest tries the slopes mid + i·step, |i| ≤ n, at every |delta| ≤ within.
func (s *stack) highest(mid, step float64, n int, within float64) peak {
	var best peak
	points := min(s.reach, int(within/lagStep))
	acc := make([]float32, 2*s.reach+1)
	for i := -n; i <= n; i++ {
		slope := mid + float64(i)*step
		s.sum(acc, slope)
		top := float32(math.Abs(best.height))
		near := acc[s.reach-points : s.reach+points+1]
		if dsp.Greatest(near) <= top {
			continue
		}
		for j, v := range near {
			if v > top || -v > top {
				best = peak{float64(j-points) * lagStep, slope, float64(v)}
				top = float32(math.Abs(best.height))
			}
		}
	}
	return best
}

// quiet is the deviation of the stack where nothing matches. Around a true
// match a room fills the lags on one side of the top, so that the two sides
// are taken apart and the lesser counts. The slopes run as far as any clock
// goes, or as the reach allows. It is at least 1.
func (s *stack) quiet(top peak) float64 {
	const clear, slopes = 0.0015, 16 // seconds left out around the top
	most := math.Min(MaxDrift, float64(s.reach)*lagStep/2/math.Max(s.half, 1e-3))
	at := s.reach + int(math.Round(top.delta/lagStep))
	gap := int(clear / lagStep)
	acc := make([]float32, 2*s.reach+1)
	places := (2*slopes + 1) * (len(acc)/3 + 1)
	below, above := make([]float64, 0, places), make([]float64, 0, places)
	for i := -slopes; i <= slopes; i++ {
		s.sum(acc, most*float64(i)/slopes)
		for j := 0; j < len(acc); j += 3 {
			switch {
			case j < at-gap:
				below = append(below, math.Abs(float64(acc[j])))
			case j > at+gap:
				above = append(above, math.Abs(float64(acc[j])))
			}
		}
	}
	noise := math.Inf(1)
	for _, side := range [][]float64{below, above} {
		if len(side) > s.reach/8 {
			noise = math.Min(noise, dsp.Deviation(side))
		}
	}
	return math.Max(1, noise)
}

// sum puts the stack at slope, for every delta within reach, into acc. Reads
// past a window's reach count as nothing.
func (s *stack) sum(acc []float32, slope float64) {
	clear(acc)
	for _, w := range s.windows {
		shift := int(math.Round(slope * (w.at - s.mid) / lagStep))
		from, to := max(0, -shift), min(len(acc), len(acc)-shift)
		if from >= to {
			continue
		}
		weight := float32(w.weight * s.norm)
		dsp.AddScaled(acc[from:to], w.r[from+shift:to+shift], weight)
	}
}

// at reads the stack between points.
func (s *stack) at(delta, slope float64) float64 {
	var v float64
	for i := range s.windows {
		w := &s.windows[i]
		v += w.weight * read(w.r, s.reach, delta+slope*(w.at-s.mid))
	}
	return v * s.norm
}

// where tells from which windows the height at p comes: the middle of their
// times, clip seconds, and how many windows of equal share would make as much.
func (s *stack) where(p peak) (mid, windows float64) {
	var sum, squares, moment float64
	part := make([]float64, len(s.windows))
	for i := range s.windows {
		w := &s.windows[i]
		h := math.Copysign(w.weight, p.height) * read(w.r, s.reach, p.delta+p.slope*(w.at-s.mid))
		part[i] = math.Max(0, h)
		sum += part[i]
		squares += part[i] * part[i]
		moment += part[i] * w.at
	}
	if sum == 0 {
		return s.mid, 0
	}
	return moment / sum, sum * sum / squares
}

// without is the height at p with the window that counts most there left out,
// and its neighbours with it, which may share its sound: what the rest says.
func (s *stack) without(p peak) float64 {
	part := make([]float64, len(s.windows))
	best := 0
	for i := range s.windows {
		w := &s.windows[i]
		part[i] = math.Copysign(w.weight, p.height) * read(w.r, s.reach, p.delta+p.slope*(w.at-s.mid))
		if part[i] > part[best] {
			best = i
		}
	}
	var sum, squares float64
	for i, v := range part {
		if i < best-1 || i > best+1 {
			sum += v
			squares += s.windows[i].weight * s.windows[i].weight
		}
	}
	if squares == 0 {
		return 0
	}
	return sum / math.Sqrt(squares)
}

// read interpolates a correlation at a lag in seconds; 0 past its ends. The
// points stand at twice the rate that the band needs, so that eight taps of a
// windowed sinc are exact to about 1e-3 of the peak.
func read(r []float32, reach int, lag float64) float64 {
	x := lag/lagStep + float64(reach)
	first := int(math.Floor(x)) - 3
	if first < 0 || first+8 > len(r) {
		return 0
	}
	var v float64
	for j := 0; j < 8; j++ {
		v += float64(r[first+j]) * sincTap(x-float64(first+j), 4.5)
	}
	return v
}

// refine climbs from p to the top nearby. With fixed the slope stays.
func (s *stack) refine(p peak, fixed bool) peak {
	sign := math.Copysign(1, p.height)
	for range 20 {
		g, h := s.curve(p.delta, p.slope, s.windows)
		step := newton(g, h, sign, fixed)
		step = step.limit(lagStep/2, slopeStep(s.half)/2)
		p.delta += step.delta
		p.slope += step.slope
		if math.Abs(step.delta) < 1e-9 && math.Abs(step.slope)*s.half < 1e-9 {
			break
		}
	}
	p.height = s.at(p.delta, p.slope)
	return p
}

func slopeStep(half float64) float64 { return lagStep / math.Max(half, 1e-3) }

// gradient and hessian of a stack's height over (delta, slope).
type gradient struct{ delta, slope float64 }
type hessian struct{ dd, ds, ss float64 }

func (g gradient) limit(delta, slope float64) gradient {
	return gradient{
		math.Max(-delta, math.Min(delta, g.delta)),
		math.Max(-slope, math.Min(slope, g.slope)),
	}
}

// curve gives the first and second derivatives of the sum of the windows'
// heights at a place, by differences of half a point.
func (s *stack) curve(delta, slope float64, windows []window) (g gradient, h hessian) {
	const e = lagStep / 2
	for i := range windows {
		w := &windows[i]
		t := w.at - s.mid
		lag := delta + slope*t
		a, b, c := read(w.r, s.reach, lag-e), read(w.r, s.reach, lag), read(w.r, s.reach, lag+e)
		d1, d2 := w.weight*(c-a)/(2*e), w.weight*(a-2*b+c)/(e*e)
		g.delta += d1
		g.slope += d1 * t
		h.dd += d2
		h.ds += d2 * t
		h.ss += d2 * t * t
	}
	return g, h
}

// newton is the step to the top of the parabola with slope g and curvature h,
// for tops of the given sign. Where the curvature points the wrong way it is a
// step uphill.
func newton(g gradient, h hessian, sign float64, fixed bool) gradient {
	g, h = gradient{g.delta * sign, g.slope * sign}, hessian{h.dd * sign, h.ds * sign, h.ss * sign}
	if fixed || h.ss >= 0 {
		if h.dd >= 0 {
			return gradient{math.Copysign(lagStep/2, g.delta), 0}
		}
		return gradient{-g.delta / h.dd, 0}
	}
	det := h.dd*h.ss - h.ds*h.ds
	if h.dd >= 0 || det <= 0 {
		return gradient{math.Copysign(lagStep/4, g.delta), math.Copysign(1e-7, g.slope)}
	}
	return gradient{
		-(h.ss*g.delta - h.ds*g.slope) / det,
		-(h.dd*g.slope - h.ds*g.delta) / det,
	}
}
