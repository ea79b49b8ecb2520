package dsp

import "math"

// A Fade is the shape of a crossfade. x runs from 0, all old, to 1, all new;
// beyond that it is held.
type Fade int

const (
	// FadeLinear keeps the sum of the two gains at 1: right where both sides
	// hold the same sound, two microphones hearing one talker in step.
	FadeLinear Fade = iota
	// FadeEqualPower keeps the sum of the squared gains at 1: right where the
	// two sides have nothing in common; equal sounds would rise by 3 dB in the
	// middle.
	FadeEqualPower
)

// In returns the gain of the new side at x: x, or sin(πx/2).
func (f Fade) In(x float64) float64 {
	switch {
	case !(x > 0):
		return 0
	case x >= 1:
		return 1
	case f == FadeEqualPower:
		return math.Sin(math.Pi / 2 * x)
	}
	return x
}

// Out returns the gain of the old side at x, In(1-x).
func (f Fade) Out(x float64) float64 {
	if x != x {
		return 1
	}
	return f.In(1 - x)
}

// Cross writes a part of a crossfade over n frames to dst: frames first,
// first+1 and so on, as many as the shortest slice holds, interleaved. Frame k
// has x = (k+½)/n, so a fade and its reverse mirror each other; frames before
// 0 are from, frames from n on are to. dst may be either input. n < 1 is a
// plain cut at frame 0.
func (f Fade) Cross(dst, from, to []float32, channels int, first, n int64) {
	frames := min(len(dst), len(from), len(to)) / max(1, channels)
	for i := range frames {
		k := first + int64(i)
		x := (float64(k) + 0.5) / float64(max(1, n))
		if n < 1 {
			x = math.Round(x) // 0 before frame 0, then 1
		}
		out, in := float32(f.Out(x)), float32(f.In(x))
		for c := range channels {
			j := i*channels + c
			dst[j] = out*from[j] + in*to[j]
		}
	}
}
