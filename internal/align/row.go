package align

import (
	"math"
	"slices"
	"sort"

	"earshot/internal/dsp"
)

// A row is a stack along one slope, by lag.
type row struct {
	r     []float32 // points as in a window
	reach int
	noise float64   // as of the stack
	moves float64   // times what reflections usually move a top by: see looseness
	smear float64   // seconds that the slope lays the first window from the last
	heard *response // as of the stack
}

// along is the stack along a slope.
func (s *stack) along(slope float64) *row {
	t := &row{r: make([]float32, 2*s.reach+1), reach: s.reach, noise: s.noise, smear: s.smeared(peak{slope: slope}), heard: s.heard}
	s.sum(t.r, slope)
	t.moves = t.looseness(s.hot)
	return t
}

// looseness is how many times as far as usual reflections move a top: more where
// a recorder clips so much of a window, and where so little of the band matches
// that the top is blunt.
func (t *row) looseness(hot float64) float64 {
	const (
		clipping = 10    // times what is clipped
		usual    = 16000 // radians a second: the root of the mean square of frequencies that match
		most     = 4
	)
	at, height := highestPoint(t.r, 1, len(t.r)-2)
	bend := (2*height - float64(t.r[at-1]) - float64(t.r[at+1])) / (lagStep * lagStep)
	blunt := 1.0
	if bend*height > 0 {
		blunt = math.Max(1, math.Min(most, math.Pow(usual/math.Sqrt(bend/height), 1.5)))
	}
	return (1 + clipping*hot) * blunt
}

// turned is how many times as far reflections move a top where the camera is the
// near microphone and the sound comes across the room: as the rig in
// docs/accuracy.md has it.
const turned = 2.0

// mirrored is the row with the sides of all lags changed, as it would be if clip
// and sound had been each other.
func (t *row) mirrored() *row {
	m := *t
	m.r = slices.Clone(t.r)
	slices.Reverse(m.r)
	m.moves *= turned
	m.heard = t.heard.mirrored()
	return &m
}

func (p peak) mirrored() peak { return peak{-p.delta, -p.slope, p.height} }

// How far from an arrival what the room makes of it is looked for, seconds.
const beyondFrom, beyondTo = 0.001, room + 0.008

// beyond is the power of the row at lags over at, or under it with side -1, as
// far as a room reaches: see power.
func (t *row) beyond(at float64, side int) float64 {
	return t.power(at, side, beyondFrom, beyondTo)
}

// silent tells whether little is heard beyond lag at on one side, against what
// is on the other.
func (t *row) silent(at float64, side int) bool {
	const less = 7 // times the power
	return less*t.beyond(at, side) < t.beyond(at, -side)
}

// power is that of the row so far from lag at, over it or under it with side -1,
// seconds, less what noise makes, and at least what noise may: a match of height
// 1 adds 1.
func (t *row) power(at float64, side int, from, to float64) float64 {
	mid := t.reach + int(math.Round(at/lagStep))
	sum, n := 0.0, 0.0
	for i := points(from); i < points(to); i++ {
		if k := mid + side*i; k >= 0 && k < len(t.r) {
			sum, n = sum+float64(t.r[k])*float64(t.r[k])-t.noise*t.noise, n+1
		}
	}
	return math.Max(sum, 4*t.noise*t.noise*math.Sqrt(n))
}

// hides tells whether the direct sound may well be another place than p: a room
// holds far more power than it, and lies in silence on one side, or is on both
// sides of it alike, as where two microphones hear music across the room.
func (t *row) hides(p peak) bool {
	const (
		far    = 0.056 // seconds: nearly as far as a first look reaches
		heap   = 20    // times the power of p
		both   = 25    // and that on either side,
		alike  = 3.4   // on neither so many times as much as on the other
		silent = 24    // times less
	)
	before, after := t.beyond(p.delta, 1), t.beyond(p.delta, -1)
	less, more := math.Min(before, after), math.Max(before, after)
	if less > both*p.height*p.height && more < alike*less {
		return true
	}
	around := before + after
	outside := math.Min(t.power(p.delta, 1, beyondTo, far), t.power(p.delta, -1, beyondTo, far))
	share := 2 * (beyondTo - beyondFrom) / (far - beyondTo)
	return around > heap*p.height*p.height && around > silent*share*outside
}

// lastOver is the top of the largest lag that is at least so high, where it lies
// farther from p than the direct sound is looked for; p when there is none. One
// that stands as high on the other side is none: sound that repeats itself does
// so, a room never.
func (t *row) lastOver(height float64, p peak) peak {
	first := t.reach + int((p.delta+room)/lagStep)
	for j := len(t.r) - 2; j > first; j-- {
		v := math.Abs(float64(t.r[j]))
		if v >= height && v >= math.Abs(float64(t.r[j-1])) && v >= math.Abs(float64(t.r[j+1])) && !t.repeats(j, p) {
			return peak{float64(j-t.reach) * lagStep, 0, float64(t.r[j])}
		}
	}
	return p
}

// repeats tells whether the row is about as high as at point j on the other side of p.
func (t *row) repeats(j int, p peak) bool {
	const about, as = int(0.0005 / lagStep), 0.8 // points; of the height
	height := math.Abs(float64(t.r[j]))
	mirrored := 2*(t.reach+int(math.Round(p.delta/lagStep))) - j
	for i := max(0, mirrored-about); i <= min(len(t.r)-1, mirrored+about); i++ {
		if math.Abs(float64(t.r[i])) >= as*height {
			return true
		}
	}
	return false
}

// arrivals takes a flattened row between two lags apart into single arrivals,
// the largest lag first: again and again the highest point's own pattern is
// taken away in part (J. A. Högbom 1974, "Aperture synthesis with a
// non-regular distribution of interferometer baselines", the method called
// CLEAN), down to what the noise, of which the deviation is given, makes seldom.
// lobes is the pattern of an arrival of height 1 at lag 0.
func (t *row) arrivals(flat, lobes []float32, from, to, noise float64) []peak {
	const (
		fine   = 4   // steps of a point
		gain   = 0.4 // taken away at a time
		floor  = 0.1 // of the first, where to stop
		rounds = 200
		seldom = 3  // deviations of the noise, where to stop too
		reach  = 60 // points of the pattern to each side
	)
	var pattern [2*reach*fine + 1]float32
	for k := range pattern {
		pattern[k] = float32(read(lobes, t.reach, float64(k-reach*fine)*lagStep/fine))
	}
	r := append([]float32(nil), flat...)
	lo := max(reach, t.reach+int(to/lagStep))
	hi := min(len(r)-reach-1, t.reach+int(from/lagStep))
	found := map[int]float64{}
	begin := 0.0
	for range rounds {
		at, height := highestPoint(r, lo, hi)
		if begin == 0 {
			begin = math.Abs(height)
		}
		if height == 0 || math.Abs(height) < math.Max(floor*begin, seldom*noise) {
			break
		}
		sign := math.Copysign(1, height)
		off := vertex(sign*float64(r[at-1]), sign*height, sign*float64(r[at+1]))
		place := at*fine + int(math.Round(math.Max(-0.5, math.Min(0.5, off))*fine))
		found[place] += gain * height
		for i := at - reach + 1; i < at+reach; i++ {
			r[i] -= float32(gain*height) * pattern[i*fine-place+reach*fine]
		}
	}
	return t.gather(found, fine)
}

// highestPoint returns where |r| is greatest from lo to hi, and r there.
func highestPoint(r []float32, lo, hi int) (at int, height float64) {
	for i := lo; i <= hi; i++ {
		if h := float64(r[i]); math.Abs(h) > math.Abs(height) {
			at, height = i, h
		}
	}
	return at, height
}

// gather joins what was found at neighbouring places, in steps of a point's
// fine-th part, into arrivals.
func (t *row) gather(found map[int]float64, fine int) []peak {
	const near = 0.000045 // seconds
	places := make([]int, 0, len(found))
	for p := range found {
		places = append(places, p)
	}
	sort.Sort(sort.Reverse(sort.IntSlice(places)))
	var out []peak
	for _, p := range places {
		h := found[p]
		lag := (float64(p)/float64(fine) - float64(t.reach)) * lagStep
		if n := len(out) - 1; n >= 0 && out[n].delta-lag < near && out[n].height*h > 0 {
			sum := out[n].height + h
			out[n].delta = (out[n].delta*out[n].height + lag*h) / sum
			out[n].height = sum
			continue
		}
		out = append(out, peak{delta: lag, height: h})
	}
	return out
}

// noiseAfter is the deviation of a correlation past a lag, where no path of the
// room reaches.
func (t *row) noiseAfter(r []float32, lag float64) float64 {
	return deviation(r[min(len(r), t.reach+int(lag/lagStep)):])
}

// flat is the row with its spectrum made even over stretches of a few hundred
// hertz: what is left of the talker's and the microphones' colour goes, what the
// room does stays. Frequencies count as far as they rise out of the noise, which
// the lags after quiet show, where no path of the room reaches; nil when there
// are too few of those. lobes is what a single arrival of height 1 looks like at
// lag 0. Points as in a window.
func (t *row) flat(quiet float64) (r, lobes []float32) {
	from := t.reach + int(quiet/lagStep)
	if len(t.r) > flatSize || len(t.r)-from < t.reach/6 {
		return nil, nil
	}
	r = make([]float32, len(t.r))
	fft := dsp.NewFFT(flatSize)
	_, noisePower := smoothPower(fft, t.r[from:])
	x, power := smoothPower(fft, t.r)
	share := float64(len(t.r)) / float64(len(t.r)-from)
	shape := make([]complex128, len(x))
	for k := range x {
		hz := float64(k) / lagStep / flatSize
		band := ramp(hz, bandLow, 600) * ramp(hz, bandHigh, 4500)
		if power[k] <= 2*share*noisePower[k] || band == 0 {
			x[k] = 0
			continue
		}
		weight := band * (1 - share*noisePower[k]/power[k])
		shape[k] = complex(weight, 0)
		x[k] *= complex(weight/math.Sqrt(power[k]), 0)
	}
	for i, v := range fft.Inverse(x)[:len(t.r)] {
		r[i] = float32(v)
	}
	return r, t.centred(fft.Inverse(shape))
}

// centred turns a circular response into points as in a window, of height 1.
func (t *row) centred(h []float64) []float32 {
	out := make([]float32, 2*t.reach+1)
	for i := range out {
		if h[0] > 0 {
			out[i] = float32(h[(i-t.reach+len(h))%len(h)] / h[0])
		}
	}
	return out
}

// flatSize is the length of the transform that flattens, in points.
const flatSize = 4096

// smoothPower returns the spectrum of r under faded ends, and its power, each
// the mean over some 400 Hz.
func smoothPower(fft *dsp.FFT, r []float32) ([]complex128, []float64) {
	const around = 24 // bins to each side, of 8 Hz
	buf := fft.Buffer()
	clear(buf)
	for i, v := range r {
		edge := math.Min(float64(i), float64(len(r)-1-i)) / float64(len(r)) * 16
		buf[i] = float64(v) * ramp(edge, 0, 1)
	}
	x := fft.Forward(nil)
	power := make([]float64, len(x))
	for k, c := range x {
		power[k] = squared(c)
	}
	return x, smoothed(power, 2*around)
}
