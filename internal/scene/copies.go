package scene

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Copies asks for two copies of one noise of a band, each in noise of its own
// of the same band: what the bound on telling their delay is worked out for.
type Copies struct {
	Low, High float64 // Hz
	Length    float64 // seconds
	SNR       float64 // dB, in both
}

// Make draws the copies at rate samples per second, the second later by delay
// samples: a turn of every coefficient's phase, so that it is exact.
func (c Copies) Make(rng *rand.Rand, rate int, delay float64) (x, y []float32) {
	n := int(c.Length * float64(rate))
	n += n % 2
	draw := func() []complex128 {
		v := make([]complex128, n/2+1)
		for k := range v {
			if hz := float64(k) * float64(rate) / float64(n); hz >= c.Low && hz <= c.High {
				v[k] = complex(rng.NormFloat64(), rng.NormFloat64())
			}
		}
		return v
	}
	signal, first, second := draw(), draw(), draw()
	snr := math.Pow(10, c.SNR/10)
	a := complex(math.Sqrt(snr), 0)
	for k := range signal {
		sin, cos := math.Sincos(-2 * math.Pi * float64(k) * delay / float64(n))
		first[k] += a * signal[k]
		second[k] += a * signal[k] * complex(cos, sin)
	}
	fft := fourier.NewFFT(n)
	level := 30 / math.Sqrt(1+snr) / float64(n) // gonum's inverse is not scaled
	out := func(v []complex128) []float32 {
		samples := make([]float32, n)
		for i, s := range fft.Sequence(nil, v) {
			samples[i] = float32(s * level)
		}
		return samples
	}
	return out(first), out(second)
}

// Bound is the least deviation, in seconds, with which anyone can tell their
// delay.
func (c Copies) Bound() float64 { return DelayBound(c.Low, c.High, c.Length, c.SNR, c.SNR) }

// DelayBound is the least deviation, in seconds, with which anyone can tell the
// delay between two copies of one noise of the band from low to high Hz, heard
// for t seconds in independent noise of the same band, at snr1 and snr2 dB: the
// Cramér-Rao bound for flat spectra (Knapp & Carter 1976; Quazi 1981),
//
//	sqrt(3 / (8π²·t·g·(high³-low³))),  g = s1·s2/(1+s1+s2), s the ratios of powers
func DelayBound(low, high, t, snr1, snr2 float64) float64 {
	s1, s2 := math.Pow(10, snr1/10), math.Pow(10, snr2/10)
	g := s1 * s2 / (1 + s1 + s2)
	return math.Sqrt(3 / (8 * math.Pi * math.Pi * t * g * (high*high*high - low*low*low)))
}
