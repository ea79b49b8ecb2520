package align

import (
	"math"
	"math/cmplx"
	"slices"

	"earshot/internal/dsp"
)

// A colour is how much one microphone has of every pitch against the other, as one
// arrival shows it. Bin k stands for colourHz(k).
type colour struct {
	db    []float64 // of the sound over the clip, or of the duller over the other (see byTheDuller)
	heard []bool    // it is clear of the noise
}

// What of an arrival is looked at on either side, seconds, and in how many
// samples.
const colourHalf, colourSize = 0.002, 1024

func colourHz(k int) float64 { return float64(k) * dsp.ProxyRate / colourSize }

// undulled moves a measurement to where speech hears its arrival, if one of the
// microphones is muffled.
//
// Cloth and narrow capsules hold highs down and delay what they let through,
// lows more than highs. An arrival is then spread, and where its top is depends on
// what counts: the stack counts all pitches about alike, speech has each only as
// loud as it was left. So the top is sought once more, every pitch counting as
// much as the duller microphone has of it against the other. Microphones that are
// not muffled differ by up to 5 dB on the rig in docs/accuracy.md, and by 7 where
// little is heard of them; there nothing is moved, nor where the arrival is not
// one by itself.
func (f *measurement) undulled() {
	const (
		little, much = 7.0, 8.5 // dB: where it begins to count, and where it does fully
		least        = 12.0     // strength, below which no colour is to be trusted
		spread       = 0.0001   // seconds from the top: a lead that is a guess at where in one spread arrival to look
		unsure       = 1.0 / 3  // of what it moves: a deviation
	)
	s := f.stack
	if s.far || s.heard == nil || f.Strength < least {
		return
	}
	lead := f.lead
	if math.Abs(lead) <= spread {
		lead = 0
	}
	at := f.top.delta + lead
	c := s.heard.colourAt(at)
	share := math.Max(0, math.Min(1, (c.unlike()-little)/(much-little)))
	if share == 0 {
		return
	}
	if c.byTheDuller(); !c.falls() {
		return
	}
	later, ok := c.later(s.turns(f.top, at))
	if !ok {
		return
	}
	moved := share * (lead + later - f.lead)
	f.Offset += moved
	for i := range f.Spans {
		f.Spans[i].Offset += moved
	}
	f.MidSigma = math.Hypot(f.MidSigma, unsure*share*later)
}

// What stands so many times over the power of the noise is heard.
const colourClear = 6

// colourAt is the colour of the arrival at a lag.
func (h *response) colourAt(at float64) *colour {
	h.work()
	whole := spectrumAbout(0, byLag(h.plain()))
	got, noise := spectrumAbout(at, byLag(h.byLag)), h.noiseAbout()
	c := &colour{db: make([]float64, len(got)), heard: make([]bool, len(got))}
	for k := range got {
		all, power := squared(whole[k]), squared(got[k])
		c.heard[k] = all > 0.1 && power > colourClear*noise[k]
		if c.heard[k] {
			c.db[k] = 10 * math.Log10(all/(power-noise[k]))
		}
	}
	return c
}

// plain is the response, by lag, of two microphones that heard the same.
func (h *response) plain() []float64 {
	same := response{cross: make([]complex128, len(h.power)), power: h.power}
	for k, v := range h.power {
		same.cross[k] = complex(v, 0)
	}
	return same.lags(shapeOf(h.size()).band)
}

// byLag reads a circular response at a lag, seconds.
func byLag(r []float64) func(lag float64) float64 {
	return func(lag float64) float64 { return readCircular(r, lag*dsp.ProxyRate+float64(len(r))) }
}

// noiseAbout is the power of a response's spectrumAbout where no path of the room
// reaches.
func (h *response) noiseAbout() []float64 {
	n := float64(len(h.byLag)) / dsp.ProxyRate
	return meanAbout(n*3/8, n*5/8, func(lag float64) float64 { return h.byLag[int(lag*dsp.ProxyRate)] })
}

// turns are the bins of the match at a lag near p: what of them stands clear of
// what is before it or after it.
func (s *stack) turns(p peak, at float64) []complex128 {
	const near = beyondFrom + colourHalf
	r := s.along(p.slope)
	match := func(lag float64) float64 { return math.Copysign(1, p.height) * read(r.r, r.reach, lag) }
	turns := spectrumAbout(at, match)
	early, late := meanAbout(at+near, at+room, match), meanAbout(at-room, at-near, match)
	for k, v := range turns {
		if squared(v) < colourClear*math.Min(early[k], late[k]) {
			turns[k] = 0
		}
	}
	return turns
}

// spectrumAbout is that of what read gives about a lag, faded to both sides. Its
// phases count from that lag.
func spectrumAbout(at float64, read func(lag float64) float64) []complex128 {
	const half = int(colourHalf * dsp.ProxyRate)
	fft := dsp.NewFFT(colourSize)
	buf := fft.Buffer()
	for i := -half; i <= half; i++ {
		fade := ramp(math.Abs(float64(i)), float64(half), 0)
		buf[(i+colourSize)%colourSize] = fade * read(at+float64(i)/dsp.ProxyRate)
	}
	return fft.Forward(nil)
}

// meanAbout is the mean power of such spectra between two lags.
func meanAbout(from, to float64, read func(lag float64) float64) []float64 {
	const parts = 12
	power := make([]float64, colourSize/2+1)
	for i := range parts {
		for k, v := range spectrumAbout(from+(to-from)*(float64(i)+0.5)/parts, read) {
			power[k] += squared(v) / parts
		}
	}
	return power
}

func squared(v complex128) float64 { return real(v)*real(v) + imag(v)*imag(v) }

// Where colours are compared, Hz: what a voice has at a few metres, and about
// the middle of it.
const (
	colourLow, colourHigh = 180.0, speechFull
	middleLow, middleHigh = 400.0, 1200.0
)

// between are the bins from one pitch to another, Hz.
func between(low, high float64) (from, to int) {
	const bin = float64(dsp.ProxyRate) / colourSize
	return int(math.Ceil(low / bin)), int(high / bin)
}

// unlike is by how much the one microphone's share of the pitches changes against
// the other's, dB; 0 where the middle of them is not heard.
func (c *colour) unlike() float64 {
	from, to := between(middleLow, middleHigh)
	if slices.Contains(c.heard[from:to+1], false) {
		return 0
	}
	low, high := c.ends()
	return high - low
}

// ends are the least and the most there is of a pitch that is heard.
func (c *colour) ends() (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	from, to := between(colourLow, colourHigh)
	for k := from; k <= to; k++ {
		if c.heard[k] {
			low, high = math.Min(low, c.db[k]), math.Max(high, c.db[k])
		}
	}
	return low, high
}

// byTheDuller turns the colour round where the clip's microphone is the duller.
func (c *colour) byTheDuller() {
	low, high := c.ends()
	from, to := between(middleLow, middleHigh)
	if middle := c.db[(from+to)/2]; high-middle > middle-low {
		for k := range c.db {
			c.db[k] = -c.db[k]
		}
	}
}

// later is how much later than the lag that turns, the bins of the whitened match,
// count from the duller microphone has the arrival's top, seconds. It is not told
// where the arrival is not one by itself, since what is about it then passes for
// colour.
func (c *colour) later(turns []complex128) (seconds float64, told bool) {
	const (
		most = 0.00015 // seconds: beyond, it is another arrival
		off  = 0.00001 // seconds that the whitened top may be elsewhere
	)
	if math.Abs(topOf(turns)) > off {
		return 0, false
	}
	for k, w := range c.weights() {
		if m := cmplx.Abs(turns[k]); m > 0 {
			turns[k] *= complex(w/m, 0)
		}
	}
	later := topOf(turns)
	return later, math.Abs(later) <= most
}

// falls tells whether the duller microphone has ever less of the pitches farther
// from the middle, as far as that is heard: of two arrivals near each other one
// would have some pitches less, and others beyond them more again.
func (c *colour) falls() bool {
	const again = 3.0 // dB
	from, to := between(middleLow, middleHigh)
	low, high := between(colourLow, colourHigh)
	least := c.hidden()
	steady := func(k, end, step int) bool {
		for lowest := c.db[k]; k != end; k += step {
			if !c.heard[k] {
				continue
			}
			if lowest = math.Min(lowest, c.db[k]); c.db[k] > math.Max(least, lowest+again) {
				return false
			}
		}
		return true
	}
	return steady(to, high+1, 1) && steady(from, low-1, -1)
}

// hidden is how little the duller microphone must have of a pitch, dB, for its own
// noise to hide it: so much less than of the middle.
func (c *colour) hidden() float64 {
	const less = 20.0
	from, to := between(middleLow, middleHigh)
	return slices.Max(c.db[from:to+1]) - less
}

// weights are the duller microphone's magnitudes over the other's. What may be
// hidden is taken to go on as it goes on before.
func (c *colour) weights() []float64 {
	const steepest = 12.0 // dB an octave
	_, last := between(middleLow, middleHigh)
	least := c.hidden()
	for last+1 < len(c.db) && c.heard[last+1] && c.db[last+1] > least {
		last++
	}
	before := last * 7 / 10
	slope := (c.db[last] - c.db[before]) / math.Log2(float64(last)/float64(before))
	slope = math.Max(-steepest, math.Min(0, slope))
	out := make([]float64, len(c.db))
	for k := range out {
		db := c.db[k]
		if k > last {
			db = c.db[last] + slope*math.Log2(float64(k)/float64(last))
		}
		if k > last || c.heard[k] {
			out[k] = math.Pow(10, db/20) * ramp(colourHz(k), speechTop, speechFull)
		}
	}
	return out
}

// topOf is where a match of such bins has its top about the lag they count from,
// seconds.
func topOf(bins []complex128) float64 {
	const about = 0.0005 // seconds
	tops, _ := topsOf(dsp.NewFFT(colourSize).Inverse(bins), about, -about)
	var best top
	for _, t := range tops {
		if t.height > best.height {
			best = t
		}
	}
	return best.lag
}
