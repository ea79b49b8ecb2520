// Package dsp turns signals into numbers: transforms, sketches, onsets,
// resampling, levels. It opens no file. Samples are float32 in [-1, 1];
// arithmetic that adds many of them is float64.
package dsp

import (
	"math/bits"

	"gonum.org/v1/gonum/dsp/fourier"
)

// An FFT is a real transform of fixed even length n with its scratch space. It
// is not safe for concurrent use.
type FFT struct {
	n    int
	buf  []float64
	fast *halfFFT     // for powers of two
	fft  *fourier.FFT // for all other lengths
}

// NewFFT makes a transform of length n. Powers of two from 16 on are fastest.
func NewFFT(n int) *FFT {
	f := &FFT{n: n, buf: make([]float64, n)}
	if n >= 16 && bits.OnesCount(uint(n)) == 1 {
		f.fast = newHalfFFT(n / 2)
	} else {
		f.fft = fourier.NewFFT(n)
	}
	return f
}

// Len returns n.
func (f *FFT) Len() int { return f.n }

// Buffer returns the n real values that Forward reads and Inverse writes. It
// belongs to the FFT and is overwritten by both.
func (f *FFT) Buffer() []float64 { return f.buf }

// Forward puts the n/2+1 coefficients of Buffer into dst, unscaled:
//
//	X[k] = Σ x[i]·exp(-2πj·k·i/n)
//
// A nil dst makes a new one; otherwise it must have that length.
func (f *FFT) Forward(dst []complex128) []complex128 {
	if f.fast == nil {
		return f.fft.Coefficients(dst, f.buf)
	}
	if dst == nil {
		dst = make([]complex128, f.n/2+1)
	}
	f.fast.forward(dst, f.buf)
	return dst
}

// Inverse puts into Buffer, and returns, the real sequence whose coefficients
// are coeff, scaled so that Inverse after Forward gives the input back. coeff
// is left as it is; the imaginary parts of its ends count as zero.
func (f *FFT) Inverse(coeff []complex128) []float64 {
	if f.fast != nil {
		f.fast.inverse(f.buf, coeff)
		return f.buf
	}
	f.fft.Sequence(f.buf, coeff)
	scale := 1 / float64(f.n)
	for i := range f.buf {
		f.buf[i] *= scale
	}
	return f.buf
}
