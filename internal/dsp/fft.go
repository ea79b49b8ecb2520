// Package dsp turns signals into numbers: transforms, sketches, onsets,
// resampling, levels. It opens no file. Samples are float32 in [-1, 1];
// arithmetic that adds many of them is float64.
package dsp

import "gonum.org/v1/gonum/dsp/fourier"

// An FFT is a real transform of fixed even length n with its scratch space. It
// is not safe for concurrent use.
type FFT struct {
	n   int
	fft *fourier.FFT
	buf []float64
}

// NewFFT makes a transform of length n.
func NewFFT(n int) *FFT {
	return &FFT{n: n, fft: fourier.NewFFT(n), buf: make([]float64, n)}
}

// Len returns n.
func (f *FFT) Len() int { return f.n }

// Buffer returns the n real values that Forward reads and Inverse writes. It
// belongs to the FFT and is overwritten by both.
func (f *FFT) Buffer() []float64 { return f.buf }

// Forward puts the n/2+1 coefficients of Buffer into dst, unscaled:
//
//	X[k] = Σ x[i]·exp(-2πj·k·i/n)
func (f *FFT) Forward(dst []complex128) []complex128 {
	return f.fft.Coefficients(dst, f.buf)
}

// Inverse puts into Buffer, and returns, the real sequence whose coefficients
// are coeff, scaled so that Inverse after Forward gives the input back. coeff
// is left as it is.
func (f *FFT) Inverse(coeff []complex128) []float64 {
	f.fft.Sequence(f.buf, coeff)
	scale := 1 / float64(f.n)
	for i := range f.buf {
		f.buf[i] *= scale
	}
	return f.buf
}
