package align

import (
	"math"
	"math/cmplx"
	"slices"

	"earshot/internal/dsp"
)

// A response gathers what turns the body mic's sound into the camera's: the sum
// over all windows of their cross-spectra, not whitened, and of the power of
// the sound. One over the other is the room's response, mirrored: a path that
// takes longer lies at a smaller lag.
type response struct {
	cross []complex128
	power []float64
	other []float64 // of the clip

	byLag  []float64 // what lags made of it, once asked
	speech []float64 // the same of the band of speech
	noise  float64
}

func newResponse(size int) response {
	return response{cross: make([]complex128, size/2+1), power: make([]float64, size/2+1), other: make([]float64, size/2+1)}
}

// mirrored is what turns the camera's sound into the other microphone's.
func (h *response) mirrored() *response {
	m := &response{cross: make([]complex128, len(h.cross)), power: h.other, other: h.power}
	for k, g := range h.cross {
		m.cross[k] = cmplx.Conj(g)
	}
	return m
}

// A burstTop is where a burst's direct sound stands in the response: its lag, the
// deviation that noise leaves in it, the more the blunter the top, and how far off
// the top is that would be taken were it a little higher or this one a little
// lower, as far as it is so; all in seconds.
type burstTop struct{ lag, noise, unsure float64 }

// firstTop returns the direct sound within a burst from lag first down to lag
// last, seconds: the first top over 0.45 of what the burst rises to, where it
// stands in the band of speech. Nothing is said where the response is lost in noise.
func (h *response) firstTop(first, last float64) (burstTop, bool) {
	const (
		before = 0.0003 // seconds: 10 cm; what leads the burst and is as loud is part of it
		after  = burst  // what stands lower may only be its rise
		over   = 0.45   // of what the burst rises to, and the noise: half, less what a codec takes of it
		lost   = 8      // deviations of the noise that the burst must rise to
		sways  = 6.5    // times what the noise far off would move a top by, as the rig in docs/accuracy.md has it
	)
	h.work()
	tops, highest := topsOf(h.byLag, first+before, last-after)
	if highest < lost*h.noise {
		return burstTop{}, false
	}
	least := over*highest + h.noise
	i := slices.IndexFunc(tops, func(t top) bool { return t.height > least })
	if i < 0 {
		return burstTop{}, false
	}
	t := h.inSpeech(tops[i])
	return burstTop{t.lag, sways * t.moved(h.noise), rivalry(tops, i, least, highest)}, true
}

// rivalry is how far the tops on either side of the one chosen are from it, the
// less the further the earlier stands under least, or the chosen over it: noise or
// another response may decide between them.
func rivalry(tops []top, chosen int, least, highest float64) (far float64) {
	const near = 0.1 // of the highest
	t := tops[chosen]
	if chosen > 0 {
		short := (least - tops[chosen-1].height) / highest
		far = math.Max(0, 1-short/near) * (tops[chosen-1].lag - t.lag)
	}
	if doubt := 1 - (t.height-least)/highest/near; doubt > 0 && chosen+1 < len(tops) {
		far = math.Max(far, doubt*(t.lag-tops[chosen+1].lag))
	}
	return far
}

// rings tells whether what stands at a lag before a single arrival has its like as
// far after it: of one sign and hardly lower. A filter or a codec that holds part
// of the band down makes such, on both sides.
func (h *response) rings(lag, arrival float64) bool {
	const hardly = 0.9
	v := readCircular(h.byLag, lag*dsp.ProxyRate)
	return readCircular(h.byLag, (2*arrival-lag)*dsp.ProxyRate)/v > hardly
}

// inSpeech is the top of the response in the band of speech alone that is
// nearest to t: that band's edges are too steep to tell tops from their ringing,
// but what is above it would move them.
func (h *response) inSpeech(t top) top {
	const about = 0.00005 // seconds
	if h.speech == nil {
		h.speech = h.lags(shapeOf(h.size()).speech)
	}
	near := t
	tops, _ := topsOf(h.speech, t.lag+about, t.lag-about)
	for i, other := range tops {
		if i == 0 || math.Abs(other.lag-t.lag) < math.Abs(near.lag-t.lag) {
			near = other
		}
	}
	return near
}

// What stands out in a response: a share of what it rises to, and so many
// deviations of its noise.
const heldShare, heldClear = 0.07, 5.0

// holds tells whether the response stands out at a lag, against what it rises to
// between two others and against its noise, seconds.
func (h *response) holds(lag, from, to float64) bool {
	return h.about(lag) > math.Max(heldShare*h.most(from, to), heldClear*h.noise)
}

// about is what the response's magnitude rises to about a lag, seconds.
func (h *response) about(lag float64) float64 {
	const around = 0.00006 // seconds
	return h.most(lag-around, lag+around)
}

// tells tells whether what holds does not hold between two lags is not there,
// and not only lost in noise.
func (h *response) tells(from, to float64) bool {
	return heldShare*h.most(from, to) > heldClear*h.noise
}

// most is what the response's magnitude rises to between two lags, seconds.
func (h *response) most(from, to float64) float64 {
	h.work()
	top := 0.0
	for i := int(math.Floor(from * dsp.ProxyRate)); i <= int(math.Ceil(to*dsp.ProxyRate)); i++ {
		top = math.Max(top, math.Abs(h.byLag[(i+len(h.byLag))%len(h.byLag)]))
	}
	return top
}

// work works the response out by lag, once.
func (h *response) work() {
	if h.byLag == nil {
		h.byLag = h.lags(shapeOf(h.size()).band)
		h.noise = noiseOf(h.byLag)
	}
}

// A top of a response's magnitude: its lag, seconds, how high it is, and how it
// bends there, per second squared.
type top struct{ lag, height, bend float64 }

// moved is what noise of a deviation, pitched as the top itself is, moves it by,
// as a deviation in seconds.
func (t top) moved(noise float64) float64 { return noise / math.Sqrt(t.height*math.Abs(t.bend)) }

// topsOf returns the tops of a response's magnitude from lag from down to lag
// to, seconds, and the highest magnitude there.
func topsOf(r []float64, from, to float64) (tops []top, highest float64) {
	const (
		steps = 4 // of a sample
		fine  = steps * dsp.ProxyRate
	)
	at := func(i int) float64 { return math.Abs(readCircular(r, float64(i)/steps)) }
	lo := int(math.Floor(to * fine))
	hi := int(math.Ceil(from * fine))
	above, here := at(hi+1), at(hi)
	for i := hi; i >= lo; i-- {
		below := at(i - 1)
		highest = math.Max(highest, here)
		if here > above && here >= below {
			off := math.Max(-0.5, math.Min(0.5, vertex(below, here, above)))
			tops = append(tops, top{(float64(i) + off) / fine, here, (below - 2*here + above) * fine * fine})
		}
		above, here = here, below
	}
	return tops, highest
}

// The top of the band that the direct sound is looked for in, Hz: what a voice
// still has at a few metres.
const speechFull, speechTop = 6000.0, 6840.0

// size is that of the windows, samples.
func (h *response) size() int { return 2 * (len(h.power) - 1) }

// lags is the response by lag in samples, circular, in a band, by bin. Frequencies
// that the sound hardly holds are held down, so that their noise stays small
// (Wiener's deconvolution).
func (h *response) lags(band []float64) []float64 {
	size := h.size()
	smooth, most := smoothed(h.power, 400*size/dsp.ProxyRate), 0.0
	for _, v := range smooth {
		most = math.Max(most, v)
	}
	x := make([]complex128, len(h.cross))
	for k, b := range band {
		if b > 0 && most > 0 {
			v := b / (h.power[k] + 1e-4*most + 1e-2*smooth[k])
			x[k] = complex(v*real(h.cross[k]), v*imag(h.cross[k]))
		}
	}
	fft := dsp.NewFFT(size)
	return fft.Inverse(x)
}

// smoothed is the mean of v over width neighbours.
func smoothed(v []float64, width int) []float64 {
	sum := make([]float64, len(v)+1)
	for i, x := range v {
		sum[i+1] = sum[i] + x
	}
	out := make([]float64, len(v))
	for i := range out {
		lo, hi := max(0, i-width/2), min(len(v), i+width/2+1)
		out[i] = (sum[hi] - sum[lo]) / float64(hi-lo)
	}
	return out
}

// The part of a room's response that impulse holds, from before the direct sound
// to after it, seconds.
const roomBefore, roomAfter = 0.003, 0.4

// impulse is the response as a filter, from roomBefore ahead of the direct sound on,
// whose lag is direct: each stretch of it by as much as it stands over the noise.
func (h *response) impulse(direct float64) []float64 {
	const block = dsp.ProxyRate / 200 // samples of a stretch
	h.work()
	out := make([]float64, int((roomBefore+roomAfter)*dsp.ProxyRate))
	for i := range out {
		out[i] = readCircular(h.byLag, (direct+roomBefore)*dsp.ProxyRate-float64(i)+float64(len(h.byLag)))
	}
	for i := 0; i < len(out); i += block {
		part := out[i:min(len(out), i+block)]
		power := 0.0
		for _, v := range part {
			power += v * v / float64(len(part))
		}
		keep := math.Max(0, 1-h.noise*h.noise/math.Max(power, 1e-30))
		for j := range part {
			part[j] *= keep
		}
	}
	return out
}

// readCircular interpolates a circular signal at x samples.
func readCircular(r []float64, x float64) float64 {
	const half = 16
	first := int(math.Floor(x)) - half + 1
	var v float64
	for j := first; j < first+2*half; j++ {
		v += r[(j%len(r)+len(r))%len(r)] * sincTap(x-float64(j), half)
	}
	return v
}

// noiseOf is the deviation of a response far from lag 0, where no path of the
// room reaches: the farthest quarter of the lags.
func noiseOf(r []float64) float64 {
	return deviation(r[len(r)*3/8 : len(r)*5/8])
}

// deviation is that of values where nothing matches.
func deviation[T float32 | float64](v []T) float64 {
	mags := make([]float64, len(v))
	for i, x := range v {
		mags[i] = math.Abs(float64(x))
	}
	return dsp.Deviation(mags)
}
