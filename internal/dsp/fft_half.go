package dsp

import (
	"math"
	"sync"
)

// A halfFFT transforms n = 2m real values by way of m complex ones, m a power
// of two:
//
//	z[i] = x[2i] + j·x[2i+1],  Z its transform,  w[k] = exp(-2πj·k/n),
//	X[k] = (Z[k] + Z*[m-k])/2 - j·w[k]·(Z[k] - Z*[m-k])/2.
//
// The complex transform is Stockham's, decimated in frequency by fours, with
// one step of two at the end where m is no power of four: no bit reversal, and
// every step reads and writes long runs. Source: C. Van Loan, Computational
// Frameworks for the Fast Fourier Transform, 1.7 and 2.4. It is some three times
// as fast as the general one of gonum, which checks it in TestFFTAgainstGonum.
type halfFFT struct {
	*turns
	x, y []complex128 // work
}

// turns are the factors of a halfFFT, which all of one length share.
type turns struct {
	m    int
	root []complex128 // exp(-2πj·k/m), k < 3m/4
	turn []complex128 // -j/2·w[k], k ≤ m/2
}

func newHalfFFT(m int) *halfFFT {
	made, ok := turnsOf.Load(m)
	if !ok {
		made, _ = turnsOf.LoadOrStore(m, newTurns(m))
	}
	return &halfFFT{made.(*turns), make([]complex128, m), make([]complex128, m)}
}

var turnsOf sync.Map // *turns, by m

func newTurns(m int) *turns {
	h := &turns{m, make([]complex128, 3*m/4), make([]complex128, m/2+1)}
	for k := range h.root {
		s, c := math.Sincos(2 * math.Pi * float64(k) / float64(m))
		h.root[k] = complex(c, -s)
	}
	for k := range h.turn {
		s, c := math.Sincos(math.Pi * float64(k) / float64(m))
		h.turn[k] = complex(-s/2, -c/2)
	}
	return h
}

func (h *halfFFT) forward(dst []complex128, x []float64) {
	if wide {
		h.forwardWide(dst, x)
		return
	}
	z := h.x
	x = x[:2*len(z)]
	for i := range z {
		z[i] = complex(x[2*i], x[2*i+1])
	}
	z = h.run()
	m := h.m
	dst = dst[:m+1]
	dst[0], dst[m] = complex(real(z[0])+imag(z[0]), 0), complex(real(z[0])-imag(z[0]), 0)
	for k := 1; k <= m/2; k++ {
		a, b := z[k], z[m-k]
		sr, si := (real(a)+real(b))/2, (imag(a)-imag(b))/2
		dr, di := real(a)-real(b), imag(a)+imag(b)
		tr, ti := real(h.turn[k]), imag(h.turn[k])
		pr, pi := tr*dr-ti*di, tr*di+ti*dr
		dst[k] = complex(sr+pr, si+pi)
		dst[m-k] = complex(sr-pr, pi-si)
	}
}

// inverse goes the same way back. The transform's inverse is the conjugate of
// the transform of the conjugate.
func (h *halfFFT) inverse(dst []float64, coeff []complex128) {
	if wide {
		h.inverseWide(dst, coeff)
		return
	}
	z, m := h.x, h.m
	coeff = coeff[:m+1]
	scale := 1 / float64(m)
	first, last := real(coeff[0])*scale/2, real(coeff[m])*scale/2
	z[0] = complex(first+last, last-first)
	for k := 1; k <= m/2; k++ {
		a, b := coeff[k], coeff[m-k]
		sr, si := (real(a)+real(b))*scale/2, (imag(a)-imag(b))*scale/2
		dr, di := (real(a)-real(b))*scale, (imag(a)+imag(b))*scale
		tr, ti := real(h.turn[k]), -imag(h.turn[k])
		pr, pi := tr*dr-ti*di, tr*di+ti*dr
		z[k] = complex(sr+pr, -si-pi)
		z[m-k] = complex(sr-pr, si-pi)
	}
	z = h.run()
	dst = dst[:2*len(z)]
	for i, v := range z {
		dst[2*i], dst[2*i+1] = real(v), -imag(v)
	}
}

// run transforms x and returns where the outcome stands: x or y.
func (h *halfFFT) run() []complex128 {
	x, y := h.x, h.y
	n, s := h.m, 1
	for ; n >= 4; n, s = n/4, 4*s {
		if s == 1 {
			h.first(x, y)
		} else {
			h.step(x, y, n, s)
		}
		x, y = y, x
	}
	if n == 1 {
		return x
	}
	a, b, lo, hi := x[:s], x[s:][:s], y[:s], y[s:][:s]
	for i, v := range a {
		lo[i], hi[i] = v+b[i], v-b[i]
	}
	return y
}

// first is step for s = 1.
func (h *halfFFT) first(x, y []complex128) {
	q := h.m / 4
	x0, x1, x2, x3 := x[:q], x[q:][:q], x[2*q:][:q], x[3*q:][:q]
	y = y[:4*q]
	for p, a := range x0 {
		b, c, d := x1[p], x2[p], x3[p]
		w1, w2, w3 := h.root[p], h.root[2*p], h.root[3*p]
		ac, bd := a+c, b+d
		amc, bmd := a-c, b-d
		turned := complex(-imag(bmd), real(bmd))
		out := y[4*p:][:4]
		out[0] = ac + bd
		out[1] = w1 * (amc - turned)
		out[2] = w2 * (ac - bd)
		out[3] = w3 * (amc + turned)
	}
}

// step splits each of s interleaved transforms of length n into four of n/4.
func (h *halfFFT) step(x, y []complex128, n, s int) {
	q := n / 4
	for p := range q {
		w1, w2, w3 := h.root[p*s], h.root[2*p*s], h.root[3*p*s]
		x0, x1 := x[s*p:][:s], x[s*(p+q):][:s]
		x2, x3 := x[s*(p+2*q):][:s], x[s*(p+3*q):][:s]
		y0, y1, y2, y3 := y[4*s*p:][:s], y[4*s*p+s:][:s], y[4*s*p+2*s:][:s], y[4*s*p+3*s:][:s]
		for i, a := range x0 {
			b, c, d := x1[i], x2[i], x3[i]
			ac, bd := a+c, b+d
			amc, bmd := a-c, b-d
			turned := complex(-imag(bmd), real(bmd))
			y0[i] = ac + bd
			y1[i] = w1 * (amc - turned)
			y2[i] = w2 * (ac - bd)
			y3[i] = w3 * (amc + turned)
		}
	}
}
