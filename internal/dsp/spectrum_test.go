package dsp

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// Readings between samples are the inverse transform there and its derivatives, by
// their definition, as this processor does them and as any does.
func TestSpectrumRead(t *testing.T) {
	defer func(was bool) { wide = was }(wide)
	rng := rand.New(rand.NewPCG(61, 1))
	const size, first = 4096, 37
	for _, wide = range []bool{wide, false} {
		for _, n := range []int{1, 3, 4, 63, 64, 65, 70, 1800} {
			s := Spectrum{Bins: randomBands(rng, 1, n)[0], First: first, Size: size}
			for _, lag := range []float64{0, 1e-6, -0.0213, 0.0512} {
				var want Reading
				side := make([]float64, n)
				for k, b := range s.Bins {
					omega := 2 * math.Pi * ProxyRate / size * float64(first+k)
					c := complex128(b) * cmplx.Exp(complex(0, omega*lag)) * 2 / size
					want.Height += real(c)
					want.Lean -= omega * imag(c)
					want.Bend -= omega * omega * real(c)
					side[k] = omega * imag(c)
				}
				across := make([]float32, n)
				for _, to := range [][]float32{nil, across} {
					got := s.Read(lag, to)
					if math.Abs(got.Height-want.Height) > 1e-9 || math.Abs(got.Lean-want.Lean) > 1e-5 || math.Abs(got.Bend-want.Bend) > 1 {
						t.Errorf("wide %t, %d bins at %g s: %+v, want %+v", wide, n, lag, got, want)
					}
				}
				for k, v := range across {
					if math.Abs(float64(v)-side[k]) > 1e-4 {
						t.Fatalf("wide %t, %d bins at %g s: across bin %d %g, want %g", wide, n, lag, k, v, side[k])
					}
				}
			}
		}
	}
}

// What is whitened is the turned cross-spectrum over the power of ¾ of its
// magnitude, and what is added up is that spectrum as it was, and both powers; a bin
// in which nothing is stays nothing.
func TestWhitened(t *testing.T) {
	defer func(was bool) { wide = was }(wide)
	rng := rand.New(rand.NewPCG(62, 1))
	values := func(n int) []complex128 {
		v := make([]complex128, n)
		for k := range v {
			v[k] = complex(rng.NormFloat64(), rng.NormFloat64()) * complex(math.Exp(3*rng.NormFloat64()), 0)
		}
		return v
	}
	for _, wide = range []bool{wide, false} {
		for _, n := range []int{1, 4, 7, 64, 67, 1000} {
			const first, turn, before = 11, 0.3, 5.0
			x, y, weight := values(n), values(n), make([]float64, n)
			c := &Cross{make([]complex128, n), make([]float64, n), make([]float64, n)}
			for k := range weight {
				weight[k] = rng.Float64()
				c.Sum[k], c.X[k], c.Y[k] = before, before, before
			}
			x[n/2] = 0
			was := append([]complex128(nil), x...)
			level, power := c.Whitened(x, y, weight, first, turn)
			var wantLevel, wantPower float64
			for k := range x {
				g := cmplx.Conj(was[k]) * y[k] * cmplx.Rect(1, turn*float64(first+k))
				want := complex128(0)
				if m := cmplx.Abs(g); m > 0 {
					want = g * complex(weight[k]/math.Pow(m, 0.75), 0)
				}
				x2, y2 := square(was[k]), square(y[k])
				if d := cmplx.Abs(x[k] - want); d > 1e-6*(1e-3+cmplx.Abs(want)) {
					t.Errorf("wide %t, %d bins: bin %d is %g, want %g", wide, n, k, x[k], want)
				}
				if cmplx.Abs(c.Sum[k]-before-g) > 1e-12*(before+cmplx.Abs(g)) || math.Abs(c.X[k]-before-x2) > 1e-12*(before+x2) || math.Abs(c.Y[k]-before-y2) > 1e-12*(before+y2) {
					t.Errorf("wide %t, %d bins: bin %d adds %g, %g, %g, want %g, %g, %g", wide, n, k, c.Sum[k]-before, c.X[k]-before, c.Y[k]-before, g, x2, y2)
				}
				wantLevel += weight[k] * y2
				wantPower += square(want)
			}
			if math.Abs(level-wantLevel) > 1e-12*wantLevel || math.Abs(power-wantPower) > 1e-6*wantPower {
				t.Errorf("wide %t, %d bins: level %g and power %g, want %g and %g", wide, n, level, power, wantLevel, wantPower)
			}
		}
	}
}

func square(c complex128) float64 { return real(c)*real(c) + imag(c)*imag(c) }
