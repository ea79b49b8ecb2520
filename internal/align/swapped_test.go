package align

import (
	"math"
	"math/rand/v2"
	"testing"

	"earshot/internal/dsp"
)

// The one recording is dry, the other holds a room whose reflections are louder
// than its direct sound: a second of noise that dies away by 60 dB, as
// statistical room acoustics has it (M. R. Schroeder 1962), 2 ms after it. The
// direct sounds are laid on each other whichever of the two is the camera's.
func TestCameraAndRecorderChangePlaces(t *testing.T) {
	const rate, n, at, direct = dsp.ProxyRate, 40 * dsp.ProxyRate, 4000, 0.7
	for seed := range uint64(4) {
		rng := rand.New(rand.NewPCG(seed, 41))
		dry := talk(rng, n+2*at)
		room := make([]float64, rate)
		room[0] = direct
		for i := rate / 500; i < len(room); i++ {
			if rng.IntN(12) == 0 { // single arrivals
				room[i] = 0.3 * rng.NormFloat64() * math.Pow(10, -3*float64(i)/rate)
			}
		}
		wet := convolved(dry, room)
		near, far := noisy(rng, dry, 1e-4), noisy(rng, wet, 1e-4)
		for name, pair := range map[string][2]Samples{
			"the camera across the room":   {far[at : at+n], near},
			"the recorder across the room": {near[at : at+n], far},
		} {
			f, err := Find(pair[0], pair[1], Guess{At: 20, Sound: 20 + float64(at)/rate})
			if err != nil || f == nil {
				t.Fatalf("%s: %v, %v", name, f, err)
			}
			if e := f.Sound(f.Mid) - f.Mid - float64(at)/rate; math.Abs(e) > 2e-5 {
				t.Errorf("seed %d, %s: off by %.1f µs, sigma %.1f", seed, name, e*1e6, f.MidSigma*1e6)
			}
		}
	}
}

// A single reflection nearly as loud as the direct sound, and little else: it may
// be the direct sound of a camera across the room as well as the reflection at a
// recorder there. Whichever is taken, it is not called exact where it is wrong.
func TestOneReflectionOnEitherSide(t *testing.T) {
	const rate, n, at = dsp.ProxyRate, 40 * dsp.ProxyRate, 4000
	for seed := range uint64(4) {
		rng := rand.New(rand.NewPCG(seed, 43))
		dry := talk(rng, n+2*at)
		room := make([]float64, rate/2)
		room[0], room[36] = 1, -0.8
		for i := rate / 250; i < len(room); i++ {
			if rng.IntN(12) == 0 {
				room[i] = 0.1 * rng.NormFloat64() * math.Pow(10, -6*float64(i)/rate)
			}
		}
		near, far := noisy(rng, dry, 1e-4), noisy(rng, convolved(dry, room), 1e-4)
		f, err := Find(near[at:at+n], far, Guess{At: 20, Sound: 20 + float64(at)/rate})
		if err != nil || f == nil {
			t.Fatalf("%v, %v", f, err)
		}
		if e := f.Sound(f.Mid) - f.Mid - float64(at)/rate; math.Abs(e) > 3*f.MidSigma+2e-5 {
			t.Errorf("seed %d: off by %.1f µs, sigma %.1f", seed, e*1e6, f.MidSigma*1e6)
		}
	}
}

// convolved is x through h, as long as x.
func convolved(x, h []float64) []float64 {
	size := 1
	for size < len(x)+len(h) {
		size *= 2
	}
	fft := dsp.NewFFT(size)
	spectrum := func(v []float64) []complex128 {
		clear(fft.Buffer()[copy(fft.Buffer(), v):])
		return fft.Forward(nil)
	}
	a, b := spectrum(x), spectrum(h)
	for k := range a {
		a[k] *= b[k]
	}
	return append([]float64(nil), fft.Inverse(a)[:len(x)]...)
}
