package align

import "math"

// clipped is how much of some samples is within three tenths of the loudest: a
// few in a thousand of talk or noise, a fifth of talk that its recorder clips by
// 20 dB. It looks at every eighth.
func clipped(samples []float32) float64 {
	const near, every = 0.7, 8
	top := 0.0
	for i := 0; i < len(samples); i += every {
		if v := math.Abs(float64(samples[i])); v > top {
			top = v
		}
	}
	n := 0
	for i := 0; i < len(samples); i += every {
		if math.Abs(float64(samples[i])) > near*top {
			n++
		}
	}
	if top == 0 {
		return 0
	}
	return float64(n*every) / float64(len(samples))
}
