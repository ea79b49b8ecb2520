package scene

import (
	"math"
	"os"
)

// A Response is what a room does to a click: mono, the direct sound at a known
// place.
type Response struct {
	Name    string
	Rate    float64 // samples per second
	Samples []float32
	Direct  float64 // the direct sound's place, in samples, may lie between two
}

// LoadResponse reads a measured response from a WAV file and finds its direct
// sound.
func LoadResponse(path string) (*Response, error) {
	raw, err := os.ReadFile(path)
	if err != nil {
		return nil, badData(path, err)
	}
	samples, rate, err := decodeWAV(raw)
	if err != nil {
		return nil, badData(path, err)
	}
	return &Response{Name: baseName(path), Rate: rate, Samples: samples, Direct: findDirect(samples, rate)}, nil
}

// speechTop is the top of the band in which the direct sound is looked for, Hz:
// what a voice still has at a few metres, and a camera's codec keeps.
const speechTop = 6000

// findDirect returns the place of the direct sound as speech sees it: in the
// response below speechTop, the first point whose magnitude exceeds half of
// the largest, followed up to the top of its burst and moved to the vertex of
// the parabola through the three samples there. A bright click that leads the
// response, above any voice, is left out that way.
func findDirect(full []float32, rate float64) float64 {
	low := lowPass(rate, speechTop)
	x := convolve(toFloat64(full), low)[len(low)/2:]
	x = x[:len(full)]
	most := 0.0
	for _, v := range x {
		most = max(most, math.Abs(v))
	}
	at := 0
	for at < len(x)-1 && math.Abs(x[at]) <= most/2 {
		at++
	}
	for at+1 < len(x) && math.Abs(x[at+1]) > math.Abs(x[at]) {
		at++
	}
	return Vertex(x, at)
}

// Vertex is where the magnitude of x has its top, given its largest point
// nearby: the vertex of the parabola through the three points there.
func Vertex(x []float64, at int) float64 {
	if at == 0 || at+1 >= len(x) {
		return float64(at)
	}
	a, b, c := math.Abs(x[at-1]), math.Abs(x[at]), math.Abs(x[at+1])
	if bend := a - 2*b + c; bend < 0 {
		return float64(at) + (a-c)/(2*bend)
	}
	return float64(at)
}

func toFloat64(x []float32) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = float64(v)
	}
	return out
}

// DRR returns the direct-to-reverberant ratio in dB: energy within 2.5 ms of
// the direct sound over the energy after it. The window is common practice.
func (r *Response) DRR() float64 {
	edge := int(r.Direct + 0.0025*r.Rate)
	var direct, rest float64
	for i, v := range r.Samples {
		if i <= edge {
			direct += float64(v) * float64(v)
		} else {
			rest += float64(v) * float64(v)
		}
	}
	return 10 * math.Log10(direct/(rest+1e-30))
}

// RT60 returns the reverberation time in seconds from Schroeder's backward
// integration (ISO 3382-1): the fall from -5 to -25 dB, times three.
func (r *Response) RT60() float64 {
	energy := make([]float64, len(r.Samples)+1)
	for i := len(r.Samples) - 1; i >= 0; i-- {
		energy[i] = energy[i+1] + float64(r.Samples[i])*float64(r.Samples[i])
	}
	var n, sx, sy, sxx, sxy float64
	for i := range r.Samples {
		level := 10 * math.Log10(energy[i]/energy[0]+1e-30)
		if level > -5 || level < -25 {
			continue
		}
		t := float64(i) / r.Rate
		n, sx, sy, sxx, sxy = n+1, sx+t, sy+level, sxx+t*t, sxy+t*level
	}
	slope := (n*sxy - sx*sy) / (n*sxx - sx*sx)
	return -60 / slope
}

// taps returns the response on a grid of rate samples per second, the direct
// sound exactly at index lead, band-limited to top Hz.
func (r *Response) taps(rate float64, top float64) (h []float64, lead int) {
	low := lowPass(rate, top)
	half := len(low) / 2
	if r == nil {
		return low, half
	}
	step := r.Rate / rate
	before := int(r.Direct/step) + 8
	after := int((float64(len(r.Samples))-r.Direct)/step) + 8
	plain := make([]float64, before+1+after)
	for i := range plain {
		plain[i] = sourceKernel.at(r.Samples, r.Direct+float64(i-before)*step) * min(1, step)
	}
	return convolve(plain, low), before + half
}

// lowPass is a linear-phase filter of unit gain, flat to top and down by some
// 100 dB from 1.14·top on, for a grid of rate samples per second.
func lowPass(rate, top float64) []float64 {
	const half, beta = 180, 10
	cut := 2 * 1.07 * top / rate // share of the half rate
	h := make([]float64, 2*half+1)
	sum := 0.0
	for i := range h {
		d := float64(i - half)
		h[i] = cut * sinc(cut*d) * kaiser(d/(half+1), beta)
		sum += h[i]
	}
	for i := range h {
		h[i] /= sum
	}
	return h
}
