package align

import (
	"math"
	"slices"
	"sort"

	"earshot/internal/dsp"
)

// room is what reflections are late by, at most, where the direct sound is looked
// for among them, seconds: a path 10 m longer.
const room = 0.030

// direct looks for the direct sound when p may be a reflection. The camera
// hears a reflection later than the direct sound, so that against the body mic
// it lies at a smaller lag: the direct sound is the arrival of the largest lag.
//
// The stack along p's slope is flattened first (see flat), so that a short
// bright arrival is not lost beside a long dull one, and taken apart into
// arrivals. The first counts that lies within what a room can put between
// itself and p, has an eighth of the strongest one's height and stands clear of
// the noise; a quarter, where no crowd of reflections is as strong as that one,
// since then it is the direct sound itself, and what leads it a desk or a cable;
// more where little of the band is left, since a narrow band's own pattern looks
// like arrivals. Before it must be silence: a body mic
// that hears the talker across the room has reflections of its own there, and
// nothing tells the direct sound. A weak one must stand in the room's
// response too, which is not whitened: whitening mirrors strong reflections. Microphones and mouths spread an arrival over a tenth of a
// millisecond or two: what follows the first as closely is part of it. Where in
// such a burst the direct sound stands, the room's response says; where it
// cannot, a third of the way in, since bursts rise faster than they die.
//
// It returns how much larger than p's the direct sound's lag is, and the
// deviation that the burst's own length leaves in it, seconds: half of it where
// the response cannot tell. Where nothing tells the direct sound, p stays; the
// deviation is that of the reflections if p does not lead most of them.
//
// Where the camera is the near microphone and the sound comes from across the
// room, its reflections lie at larger lags, and all this holds the other way
// round. Where both may be, the nearer body mic is taken for granted unless much
// more is heard beyond what would then be the direct sound.
func (s *stack) direct(p peak) (lead, blur float64) {
	const more = 4 // times the power
	lead, blur, told := s.directOnOneSide(p)
	leans := s.leansOver(p)
	if told && !leans {
		return lead, blur
	}
	m, q := s.mirrored(), p.mirrored()
	turned, turnedBlur, toldTurned := m.directOnOneSide(q)
	switch {
	case toldTurned && s.beyond(p, lead, 1) > more*s.beyond(p, -turned, -1):
		return -turned, turnedBlur
	case told:
		return lead, blur
	case leans:
		return 0, math.Max(blur, turnedBlur)
	}
	return 0, 0
}

// muddle is how far arrivals lie from lag at, as a deviation, where there are so
// many about as strong as the highest that it need not be the direct sound; 0
// where there are few.
func muddle(arrivals []peak, at, highest float64) float64 {
	const many = 5 // times the power of the highest
	sum, squares := 0.0, 0.0
	for _, a := range arrivals {
		h := a.height * a.height
		sum, squares = sum+h, squares+h*(a.delta-at)*(a.delta-at)
	}
	if sum == 0 || sum < many*highest*highest {
		return 0
	}
	return math.Sqrt(squares / sum)
}

// leansOver tells whether more is heard at larger lags than p's, as far as a
// room reaches, than at smaller ones.
func (s *stack) leansOver(p peak) bool {
	const more = 1.5 // times the power
	return s.beyond(p, 0, 1) > more*s.beyond(p, 0, -1)
}

// beyond is the power of the stack along p at lags over p's and lead, or under
// them with side -1, as far as a room reaches, less what noise makes, and at
// least what noise may: a match of height 1 adds 1.
func (s *stack) beyond(p peak, lead float64, side int) float64 {
	const from, to = 0.001, room + 0.008 // seconds
	r := make([]float32, 2*s.reach+1)
	s.sum(r, p.slope)
	at := s.reach + int(math.Round((p.delta+lead)/lagStep))
	sum, n := 0.0, 0.0
	for i := points(from); i < points(to); i++ {
		if k := at + side*i; k >= 0 && k < len(r) {
			sum, n = sum+float64(r[k])*float64(r[k])-s.noise*s.noise, n+1
		}
	}
	return math.Max(sum, 4*s.noise*s.noise*math.Sqrt(n))
}

func (p peak) mirrored() peak { return peak{-p.delta, -p.slope, p.height} }

// mirrored is the stack with the sides of all lags changed, as it would be if
// clip and sound had been each other.
func (s *stack) mirrored() *stack {
	m := *s
	m.windows = slices.Clone(s.windows)
	for i := range m.windows {
		w := &m.windows[i]
		w.r = slices.Clone(w.r)
		slices.Reverse(w.r)
	}
	m.heard = s.heard.mirrored()
	return &m
}

// directOnOneSide is direct for a camera across the room; told is false where
// nothing comes out of silence there.
func (s *stack) directOnOneSide(p peak) (lead, blur float64, told bool) {
	const (
		silence = 0.008   // seconds that must be heard before it
		after   = 0.003   // seconds: p itself may be a little before its flattened top
		same    = 0.00003 // seconds: half a sample
		shape   = 2.5e-6  // seconds: what a burst's own shape moves its first top by,
		longer  = 0.04    // and by how much more of its length
		crowd   = 1.0e-6  // seconds: what reflections move a direct sound by that is half as strong
		share   = 0.13    // of the strongest arrival
		overall = 6       // deviations of the noise
		ghost   = 0.25    // of the strongest: what whitening makes of one strong reflection, on the other side
	)
	quiet := p.delta + room + silence + 0.002
	flat, lobes := s.flat(p, quiet)
	if flat == nil {
		return 0, 0, false
	}
	noise := s.noiseAfter(flat, quiet)
	arrivals := s.arrivals(flat, lobes, p.delta+room+silence, p.delta-after, noise)
	highest := 0.0
	for _, a := range arrivals {
		highest = math.Max(highest, math.Abs(a.height))
	}
	asked := math.Max(share, 1.4*sideLobe(lobes, s.reach)-0.12)
	least := math.Max(asked*highest, overall*noise)
	first, last, height, parts := firstBurst(arrivals, least, func(rest []peak) bool {
		a := rest[0]
		return math.Abs(a.height) < ghost*highest && (!crowded(arrivals, highest) || !abrupt(arrivals, a.delta, math.Abs(a.height), noise) || rising(rest) || !s.heard.holds(a.delta, p.delta-after, p.delta+room))
	})
	if parts == 0 || first > p.delta+room || !abrupt(arrivals, first, height, noise) {
		return 0, muddle(arrivals, p.delta, highest), false
	}
	blur = crowd * (highest/height - 1)
	at, unsure, clear := 0.0, 0.0, false
	if s.smeared(p) < smear {
		at, unsure, clear = s.heard.firstTop(first, last)
	}
	switch {
	case clear && (parts > 1 || math.Abs(at-first) > same):
		return at - p.delta, math.Max(blur, math.Max(shape+longer*(first-last), unsure)), true
	case parts == 1 && math.Abs(first-p.delta) < same:
		return 0, blur, true // the stack's own top is the better estimate of one arrival
	default:
		at = first - (first-last)/3
	}
	return at - p.delta, math.Max(blur, (first-last)/2), true
}

// firstBurst returns the lags between which the first burst of arrivals of at
// least a height lies, the height of its highest, and how many it has. no tells
// of an arrival, and those after it, that it begins none.
func firstBurst(arrivals []peak, least float64, no func(rest []peak) bool) (first, last, height float64, parts int) {
	const burst = 0.00017 // seconds
	for i, a := range arrivals {
		if math.Abs(a.height) < least || parts == 0 && no(arrivals[i:]) {
			continue
		}
		if parts == 0 {
			first = a.delta
		} else if first-a.delta > burst {
			break
		}
		parts, last, height = parts+1, a.delta, math.Max(height, math.Abs(a.height))
	}
	return first, last, height, parts
}

// abrupt tells whether a burst at lag first comes out of silence: whether few
// arrivals at larger lags, its own rise left out, are worth a word beside it, and
// it is clearly higher than all of them.
func abrupt(arrivals []peak, first, height, noise float64) bool {
	const rise, clearly, hardly, clear, few = 0.0006, 1.6, 6, 2, 4 // seconds; times as high, twice; deviations; arrivals that noise never makes
	n := 0
	for _, a := range arrivals {
		if a.delta <= first+rise {
			break
		}
		if clearly*math.Abs(a.height) > height {
			return false
		}
		if math.Abs(a.height) > math.Max(height/hardly, clear*noise) {
			n++
		}
	}
	return n < few
}

// crowded tells whether there are several arrivals about as strong as the highest.
func crowded(arrivals []peak, highest float64) bool {
	const about, several = 0.5, 3
	n := 0
	for _, a := range arrivals {
		if math.Abs(a.height) >= about*highest {
			n++
		}
	}
	return n >= several
}

// rising tells whether the first of some arrivals is but the rise of a burst
// much stronger, as a loudspeaker or a microphone that was measured along with a
// room makes it: no reflection comes so soon after the direct sound.
func rising(arrivals []peak) bool {
	const soon, much = 0.0006, 2.5 // seconds; times as strong
	for _, a := range arrivals[1:] {
		if arrivals[0].delta-a.delta > soon {
			return false
		}
		if math.Abs(a.height) > much*math.Abs(arrivals[0].height) {
			return true
		}
	}
	return false
}

// sideLobe is the most that a single arrival's pattern of height 1 at lag 0 rises
// to apart from it, as far as a room reaches.
func sideLobe(lobes []float32, reach int) float64 {
	const apart, room = 0.0003, 0.034 // seconds
	top := 0.0
	for i := points(apart); i <= min(reach, points(room)); i++ {
		top = math.Max(top, math.Abs(float64(lobes[reach+i])))
	}
	return top
}

// points is how many points of a correlation so many seconds are.
func points(seconds float64) int { return int(seconds / lagStep) }

// arrivals takes a flattened stack between two lags apart into single arrivals,
// the largest lag first: again and again the highest point's own pattern is
// taken away in part (J. A. Högbom 1974, "Aperture synthesis with a
// non-regular distribution of interferometer baselines", the method called
// CLEAN), down to what the noise, of which the deviation is given, makes seldom.
// lobes is the pattern of an arrival of height 1 at lag 0.
func (s *stack) arrivals(flat, lobes []float32, from, to, noise float64) []peak {
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
		pattern[k] = float32(read(lobes, s.reach, float64(k-reach*fine)*lagStep/fine))
	}
	r := append([]float32(nil), flat...)
	lo := max(reach, s.reach+int(to/lagStep))
	hi := min(len(r)-reach-1, s.reach+int(from/lagStep))
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
	return s.gather(found, fine)
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
func (s *stack) gather(found map[int]float64, fine int) []peak {
	const near = 0.000045 // seconds
	places := make([]int, 0, len(found))
	for p := range found {
		places = append(places, p)
	}
	sort.Sort(sort.Reverse(sort.IntSlice(places)))
	var out []peak
	for _, p := range places {
		h := found[p]
		lag := (float64(p)/float64(fine) - float64(s.reach)) * lagStep
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
func (s *stack) noiseAfter(r []float32, lag float64) float64 {
	return deviation(r[min(len(r), s.reach+int(lag/lagStep)):])
}

// flat is the stack along p's slope with its spectrum made even over stretches
// of a few hundred hertz: what is left of the talker's and the microphones'
// colour goes, what the room does stays. Frequencies count as far as they rise
// out of the noise, which the lags after quiet show, where no path of the room
// reaches; nil when there are too few of those. lobes is what a single arrival
// of height 1 looks like at lag 0. Points as in a window.
func (s *stack) flat(p peak, quiet float64) (r, lobes []float32) {
	r = make([]float32, 2*s.reach+1)
	s.sum(r, p.slope)
	from := s.reach + int(quiet/lagStep)
	if len(r) > flatSize || len(r)-from < s.reach/4 {
		return nil, nil
	}
	fft := dsp.NewFFT(flatSize)
	_, noisePower := smoothPower(fft, r[from:])
	x, power := smoothPower(fft, r)
	share := float64(len(r)) / float64(len(r)-from)
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
	for i, v := range fft.Inverse(x)[:len(r)] {
		r[i] = float32(v)
	}
	return r, s.centred(fft.Inverse(shape))
}

// centred turns a circular response into points as in a window, of height 1.
func (s *stack) centred(h []float64) []float32 {
	out := make([]float32, 2*s.reach+1)
	for i := range out {
		if h[0] > 0 {
			out[i] = float32(h[(i-s.reach+len(h))%len(h)] / h[0])
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
		power[k] = real(c)*real(c) + imag(c)*imag(c)
	}
	return x, smoothed(power, 2*around)
}
