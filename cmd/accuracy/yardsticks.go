package main

import (
	"math"

	"earshot/internal/dsp"
	"earshot/internal/scene"
)

// A yardstick is a plainer way to line two recordings up: it returns the
// sound's time, in seconds, for the middle of the clip.
type yardstick struct {
	name    string
	measure func(clip, sound []float32) float64
}

// yardsticks are textbook methods: they know no clock drift and search all of
// the sound.
var yardsticks = [3]yardstick{
	{"plain correlation", func(clip, sound []float32) float64 { return correlated(clip, sound, 0) }},
	{"phase transform", func(clip, sound []float32) float64 { return correlated(clip, sound, 1) }},
	{"envelopes", enveloped},
}

// byHand is a person with a clap and a picture; see handLaid.
const byHand = "clap to the frame"

// correlated lays clip on sound where their generalised cross-correlation is
// highest, its weight |X·Y|^-whiten: 0 is plain correlation, 1 the phase
// transform (Knapp & Carter 1976). Between samples a parabola says.
func correlated(clip, sound []float32, whiten float64) float64 {
	size := 1
	for size < len(clip)+len(sound) {
		size *= 2
	}
	fft := dsp.NewFFT(size)
	load := func(x []float32) []complex128 {
		buf := fft.Buffer()
		clear(buf)
		for i, v := range x {
			buf[i] = float64(v)
		}
		return fft.Forward(nil)
	}
	x, y := load(clip), load(sound)
	for k := range x {
		g := complex(real(x[k]), -imag(x[k])) * y[k]
		m := math.Hypot(real(g), imag(g))
		if whiten > 0 && m > 0 {
			g *= complex(math.Pow(m, -whiten), 0)
		}
		x[k] = g
	}
	r := fft.Inverse(x)
	return (top(r, len(sound)) + float64(len(clip))/2) / dsp.ProxyRate
}

// top is where |r| is greatest among the lags under n, in samples, to a
// fraction by the parabola through three points.
func top(r []float64, n int) float64 {
	best := 0
	for i := range min(n, len(r)) {
		if math.Abs(r[i]) > math.Abs(r[best]) {
			best = i
		}
	}
	return scene.Vertex(r, best)
}

// envelopeHop is a step of an envelope, in samples: 10 ms.
const envelopeHop = dsp.ProxyRate / 100

// enveloped lays clip on sound where their levels, in steps of 10 ms, go
// together best.
func enveloped(clip, sound []float32) float64 {
	at := correlated(envelope(clip), envelope(sound), 0) // in the envelopes' own time
	steps := at*dsp.ProxyRate - float64(len(clip)/envelopeHop)/2
	return (steps*envelopeHop + float64(len(clip))/2) / dsp.ProxyRate
}

// envelope is the root of the power in steps of envelopeHop, its mean taken
// off.
func envelope(x []float32) []float32 {
	out := make([]float32, len(x)/envelopeHop)
	mean := 0.0
	for i := range out {
		out[i] = float32(dsp.RMS(x[i*envelopeHop : (i+1)*envelopeHop]))
		mean += float64(out[i]) / float64(len(out))
	}
	for i := range out {
		out[i] -= float32(mean)
	}
	return out
}
