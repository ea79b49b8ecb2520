package dsp

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Forward and Inverse against another program's transform, for powers of four
// and of two, the shortest and lengths that are neither, as this processor does
// them and as any does.
func TestFFTAgainstGonum(t *testing.T) {
	defer func(was bool) { wide = was }(wide)
	for _, wide = range []bool{wide, false} {
		t.Run(fmt.Sprintf("wide %t", wide), againstGonum)
	}
}

func againstGonum(t *testing.T) {
	for _, n := range []int{2, 4, 6, 8, 16, 32, 64, 128, 360, 512, 1024, 8192, 1 << 15, 1 << 16} {
		rng := rand.New(rand.NewPCG(uint64(n), 1))
		other := fourier.NewFFT(n)
		f := NewFFT(n)
		x := make([]float64, n)
		for i := range x {
			x[i] = rng.NormFloat64()
		}
		copy(f.Buffer(), x)
		got, want := f.Forward(nil), other.Coefficients(nil, x)
		if len(got) != n/2+1 {
			t.Fatalf("length %d: %d coefficients, want %d", n, len(got), n/2+1)
		}
		bound := 1e-14 * math.Sqrt(float64(n)) * math.Log2(float64(n)+1)
		for k := range want {
			if e := cmplx.Abs(got[k] - want[k]); e > bound {
				t.Fatalf("length %d: X[%d] = %g, gonum says %g", n, k, got[k], want[k])
			}
		}
		for i, v := range f.Inverse(got) {
			if math.Abs(v-x[i]) > 1e-14*math.Log2(float64(n)+1) {
				t.Fatalf("length %d: x[%d] comes back as %g, was %g", n, i, v, x[i])
			}
		}
		// Coefficients that are nobody's transform: the ends' imaginary parts do not count.
		for k := range got {
			got[k] = complex(rng.NormFloat64(), rng.NormFloat64())
		}
		back := other.Sequence(nil, got)
		for i, v := range f.Inverse(got) {
			if w := back[i] / float64(n); math.Abs(v-w) > 1e-14*math.Log2(float64(n)+1) {
				t.Fatalf("length %d: inverse[%d] = %g, gonum says %g", n, i, v, w)
			}
		}
	}
}

// The transform of one sine is one line: from the definition.
func TestFFTOfASine(t *testing.T) {
	const n, line = 256, 37
	f := NewFFT(n)
	for i := range f.Buffer() {
		f.Buffer()[i] = math.Cos(2*math.Pi*line*float64(i)/n + 0.5)
	}
	for k, c := range f.Forward(make([]complex128, n/2+1)) {
		want := complex128(0)
		if k == line {
			want = cmplx.Rect(n/2, 0.5)
		}
		if cmplx.Abs(c-want) > 1e-12 {
			t.Errorf("X[%d] = %g, want %g", k, c, want)
		}
	}
}

func BenchmarkFFT(b *testing.B) {
	for _, n := range []int{512, 1 << 14, 1 << 17} {
		f := NewFFT(n)
		x := f.Forward(nil)
		b.Run(fmt.Sprintf("forward/%d", n), func(b *testing.B) {
			for range b.N {
				x = f.Forward(x)
			}
		})
		b.Run(fmt.Sprintf("inverse/%d", n), func(b *testing.B) {
			for range b.N {
				f.Inverse(x)
			}
		})
		g, y := fourier.NewFFT(n), make([]float64, n)
		b.Run(fmt.Sprintf("gonum-forward/%d", n), func(b *testing.B) {
			for range b.N {
				x = g.Coefficients(x, y)
			}
		})
	}
}
