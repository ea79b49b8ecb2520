package mediatest

import (
	"bytes"
	"encoding/binary"
	"math"

	"earshot/internal/frame"
	"earshot/internal/media"
)

// A click is a short burst of a tone under a bell, the same before and after
// its middle, narrow enough in band to pass every codec.
const (
	clickAt     = 1.25 // seconds from zero to the burst's middle, rounded to a sample
	clickLength = 3.0  // seconds of the whole recording
)

// burst is the click's wave at t seconds from its middle, for a codec that
// keeps frequencies up to a quarter of rate.
func burst(t float64, rate int) float64 {
	f := math.Min(1000, float64(rate)/10)
	width := 1.2 / f // one standard deviation of the bell
	return 0.7 * math.Exp(-t*t/(2*width*width)) * math.Cos(2*math.Pi*f*t)
}

// clickRecording is clickLength seconds of near silence with one click: the
// same in all channels.
func clickRecording(rate, channels int) (samples []float32, at int) {
	at = int(math.Round(clickAt * float64(rate)))
	n := int(clickLength * float64(rate))
	samples = make([]float32, n*channels)
	noise := uint32(1)
	for i := range n {
		noise = noise*1664525 + 1013904223 // Numerical Recipes' quick generator
		v := burst(float64(i-at)/float64(rate), rate) + (float64(noise>>16)/65536-0.5)*0.02
		for c := range channels {
			samples[i*channels+c] = float32(v)
		}
	}
	return samples, at
}

// findClick returns where the middle of the click lies in one channel of x, in
// samples and parts of one: the peak of the correlation with the burst,
// refined by a parabola. The burst's shape goes by shape, the rate it was
// recorded at; x has the rate rate.
func findClick(x []float32, rate, shape int) float64 {
	reach := int(6 * float64(rate) / math.Min(1000, float64(shape)/10))
	wave := make([]float64, 2*reach+1)
	for i := range wave {
		wave[i] = burst(float64(i-reach)/float64(rate), shape)
	}
	at := func(k int) float64 {
		var sum float64
		for i, w := range wave {
			if j := k + i - reach; j >= 0 && j < len(x) {
				sum += w * float64(x[j])
			}
		}
		return sum
	}
	// Look closely only where the wave is large.
	var top float32
	for _, v := range x {
		top = max(top, v)
	}
	best, peak := 0, math.Inf(-1)
	for k, v := range x {
		if v < top/4 {
			continue
		}
		if c := at(k); c > peak {
			best, peak = k, c
		}
	}
	a, b, c := at(best-1), peak, at(best+1)
	if d := a - 2*b + c; d != 0 {
		return float64(best) + (a-c)/(2*d)
	}
	return float64(best)
}

// channel picks channel c of interleaved samples.
func channel(x []float32, channels, c int) []float32 {
	out := make([]float32, len(x)/channels)
	for i := range out {
		out[i] = x[i*channels+c]
	}
	return out
}

// Bytes are samples as little-endian float32, as Encode and Render take them.
func Bytes(samples []float32) []byte {
	out := make([]byte, 4*len(samples))
	for i, v := range samples {
		binary.LittleEndian.PutUint32(out[4*i:], math.Float32bits(v))
	}
	return out
}

// Pictures are n frames of yuv420p with a bar that moves.
func Pictures(w, h, n int) []byte {
	var b bytes.Buffer
	for k := range n {
		for y := range h {
			for x := range w {
				v := byte(40 + 3*y%100) // each row its own grey
				if x/8 == k%(w/8) {
					v = 220
				}
				b.WriteByte(v)
			}
		}
		for range w * h / 2 {
			b.WriteByte(128)
		}
	}
	return b.Bytes()
}

// A recording is one line of the click table: what to encode, where the click
// must come out, and how closely.
type recording struct {
	name      string
	ending    string
	container string
	picture   string // codec; "" for none
	sound     string // codec
	rate, ch  int
	args      []string
	within    float64 // samples at rate; 0 means 1
	late      float64 // samples at rate that every player plays it late
	codecs    bool    // only for engines with real codecs
}

// encode asks for the recording as a file.
func (r recording) encode(out string) media.Encode {
	samples, _ := clickRecording(r.rate, r.ch)
	e := media.Encode{Out: out, Container: r.container, Args: r.args,
		Sound: &media.EncodeSound{Codec: r.sound, Rate: r.rate, Channels: r.ch, Samples: bytes.NewReader(Bytes(samples))}}
	if r.picture != "" {
		const w, h = 64, 48
		rate := frame.Rate{Num: 25, Den: 1}
		if r.picture == "h263" { // knows few sizes
			e.Picture = &media.EncodePicture{Codec: r.picture, Width: 128, Height: 96, Rate: rate, Frames: bytes.NewReader(Pictures(128, 96, 75))}
			return e
		}
		e.Picture = &media.EncodePicture{Codec: r.picture, Width: w, Height: h, Rate: rate, Frames: bytes.NewReader(Pictures(w, h, 75))}
	}
	return e
}
