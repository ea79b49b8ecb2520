package main

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"

	"earshot/internal/align"
	"earshot/internal/dsp"
)

// bound is the least deviation, in seconds, with which anyone can tell the
// delay between two copies of one noise of the band from f1 to f2 Hz, heard for
// t seconds in independent noise of the same band, at snr1 and snr2 dB: the
// Cramér-Rao bound for flat spectra (Knapp & Carter 1976; Quazi 1981).
func bound(f1, f2, t, snr1, snr2 float64) float64 {
	s1, s2 := math.Pow(10, snr1/10), math.Pow(10, snr2/10)
	g := s1 * s2 / (1 + s1 + s2)
	return math.Sqrt(3 / (8 * math.Pi * math.Pi * t * g * (f2*f2*f2 - f1*f1*f1)))
}

// What is held against the bound: noise of the band of speech.
const (
	boundLow, boundHigh = 300.0, 3400.0 // Hz
	boundLength         = 10.0          // seconds
	boundLost           = 0.001         // seconds: further off is a wrong peak, counted apart
)

// A spread is how far the errors of many runs lie about nought at one ratio.
type spread struct {
	snr   float64 // dB, in both copies
	sigma float64 // seconds, of the runs that found the right peak
	bound float64
	lost  int // runs that did not
	of    int
}

// againstBound measures n runs at a ratio.
func againstBound(snr float64, n int) (spread, error) {
	out := spread{snr: snr, of: n, bound: bound(boundLow, boundHigh, boundLength, snr, snr)}
	sum, kept := 0.0, 0
	for run := range uint64(n) {
		rng := rand.New(rand.NewPCG(run, uint64(1000+snr)))
		delay := rng.Float64()*4 - 2 // samples
		x, y := noisyCopies(rng, boundLength*dsp.ProxyRate, delay, math.Pow(10, snr/10))
		f, err := align.Find(x, y, align.Guess{At: boundLength / 2, Sound: boundLength / 2})
		if err != nil {
			return out, err
		}
		if f == nil {
			out.lost++
			continue
		}
		known := f.WithDrift(0, 0) // the bound is for one clock
		e := known.Sound(known.Mid) - known.Mid - delay/dsp.ProxyRate
		if math.Abs(e) > boundLost {
			out.lost++
			continue
		}
		sum, kept = sum+e*e, kept+1
	}
	out.sigma = math.Sqrt(sum / float64(max(1, kept)))
	return out, nil
}

// noisyCopies makes two copies of one noise of the band, each in noise of its
// own that is snr (a ratio of powers) weaker, the second later by delay
// samples: a turn of every coefficient's phase, so that it is exact.
func noisyCopies(rng *rand.Rand, n int, delay, snr float64) (x, y align.Samples) {
	fft := dsp.NewFFT(n)
	draw := func() []complex128 {
		c := make([]complex128, n/2+1)
		for k := range c {
			if hz := float64(k) * dsp.ProxyRate / float64(n); hz >= boundLow && hz <= boundHigh {
				c[k] = complex(rng.NormFloat64(), rng.NormFloat64())
			}
		}
		return c
	}
	signal, first, second := draw(), draw(), draw()
	a := complex(math.Sqrt(snr), 0)
	for k := range signal {
		sin, cos := math.Sincos(-2 * math.Pi * float64(k) * delay / float64(n))
		first[k] += a * signal[k]
		second[k] += a * signal[k] * complex(cos, sin)
	}
	out := func(c []complex128) align.Samples {
		o := make(align.Samples, n)
		level := 30 / math.Sqrt(1+snr)
		for i, v := range fft.Inverse(c) {
			o[i] = float32(v * level)
		}
		return o
	}
	return out(first), out(second)
}

// boundTable measures and prints the spread over a row of ratios.
func boundTable(w io.Writer, n int) ([]spread, error) {
	var all []spread
	fmt.Fprintf(w, "| SNR in both, dB | spread, µs | bound, µs | spread / bound | lost |\n|---|---|---|---|---|\n")
	for snr := -18.0; snr <= 30; snr += 3 {
		s, err := againstBound(snr, n)
		if err != nil {
			return nil, err
		}
		fmt.Fprintf(w, "| %+.0f | %.3f | %.3f | %.2f | %d of %d |\n", s.snr, s.sigma*1e6, s.bound*1e6, s.sigma/s.bound, s.lost, s.of)
		all = append(all, s)
	}
	return all, nil
}
