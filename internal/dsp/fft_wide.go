package dsp

import "unsafe"

// forwardWide is forward where the processor works on two complex values at a
// time.
func (h *halfFFT) forwardWide(dst []complex128, x []float64) {
	m := h.m
	dst, x = dst[:m+1], x[:2*m]
	z := h.runWide((*complex128)(unsafe.Pointer(&x[0])))
	untangleWide(&dst[0], &z[0], &h.turn[0], m, 1, 0)
	dst[0], dst[m] = complex(real(z[0])+imag(z[0]), 0), complex(real(z[0])-imag(z[0]), 0)
}

// inverseWide is inverse likewise.
func (h *halfFFT) inverseWide(dst []float64, coeff []complex128) {
	z, m := h.x, h.m
	coeff, dst = coeff[:m+1], dst[:2*m]
	scale := 1 / float64(m)
	untangleWide(&z[0], &coeff[0], &h.turn[0], m, scale, ^uint64(0))
	first, last := real(coeff[0])*scale/2, real(coeff[m])*scale/2
	z[0] = complex(first+last, last-first)
	z = h.runWide(&z[0])
	conjWide((*complex128)(unsafe.Pointer(&dst[0])), &z[0], m)
}

// runWide transforms the values from in on and returns where the outcome stands:
// x or y.
func (h *halfFFT) runWide(in *complex128) []complex128 {
	x, y := h.y, h.x
	n, s := h.m/4, 4
	firstWide(in, &x[0], &h.root[0], n)
	for ; n >= 4; n, s = n/4, 4*s {
		stepWide(&x[0], &y[0], &h.root[0], n/4, s)
		x, y = y, x
	}
	if n == 1 {
		return x
	}
	lastWide(&x[0], &y[0], s)
	return y
}
