package main

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/scene"
)

// boundLost is how far off a run must be to have taken a wrong peak, in
// seconds; those are counted apart.
const boundLost = 0.001

// A spread is how far the errors of many runs lie about nought at one ratio.
type spread struct {
	snr   float64 // dB, in both copies
	sigma float64 // seconds, of the runs that found the right peak
	bound float64
	lost  int // runs that did not
	of    int
}

// againstBound measures n runs at a ratio, of 10 s of noise of the band of
// speech.
func againstBound(snr float64, n int) (spread, error) {
	noise := scene.Copies{Low: 300, High: 3400, Length: 10, SNR: snr}
	out := spread{snr: snr, of: n, bound: noise.Bound()}
	sum, kept := 0.0, 0
	for run := range uint64(n) {
		rng := rand.New(rand.NewPCG(run, uint64(1000+snr)))
		delay := rng.Float64()*4 - 2 // samples
		x, y := noise.Make(rng, dsp.ProxyRate, delay)
		f, err := align.Find(align.Samples(x), align.Samples(y), align.Guess{At: noise.Length / 2, Sound: noise.Length / 2})
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
