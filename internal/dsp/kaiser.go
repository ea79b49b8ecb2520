package dsp

import "math"

// Kaiser returns the n weights of the Kaiser window
//
//	w[i] = I0(beta·sqrt(1 - x²)) / I0(beta),  x = 2i/(n-1) - 1,
//
// symmetric, with the value 1 at the centre. beta ≥ 0 trades main lobe width
// against side lobes; 0 is the rectangle. One weight is {1}; n ≤ 0 gives nil.
//
// Source: J. F. Kaiser, "Nonrecursive digital filter design using the
// I0-sinh window function", Proc. IEEE Int. Symp. Circuits and Systems, 1974.
func Kaiser(n int, beta float64) []float64 {
	if n <= 0 {
		return nil
	}
	w := make([]float64, n)
	for i := range w {
		// Twice the distance from the centre, a whole number, keeps both
		// halves equal to the last bit.
		w[i] = kaiserAt(math.Abs(float64(2*i-(n-1)))/math.Max(1, float64(n-1)), beta)
	}
	return w
}

// KaiserBeta returns the beta for a low-pass filter whose ripple in the pass
// band and leakage in the stop band are both att dB down:
//
//	0.1102 (att - 8.7)                           att > 50
//	0.5842 (att - 21)^0.4 + 0.07886 (att - 21)   21 ≤ att ≤ 50
//	0                                            att < 21
//
// Source: Kaiser 1974; Oppenheim and Schafer, Discrete-Time Signal
// Processing, "The Kaiser window filter design method".
func KaiserBeta(att float64) float64 {
	switch {
	case att > 50:
		return 0.1102 * (att - 8.7)
	case att >= 21:
		return 0.5842*math.Pow(att-21, 0.4) + 0.07886*(att-21)
	}
	return 0
}

// KaiserLength returns how many taps a low-pass filter needs for att dB when
// it may take width from pass band to stop band, in cycles per sample:
//
//	taps = 1 + (att - 8) / (2.285 · 2π · width),
//
// rounded up. Source: as KaiserBeta, where the transition is Δω = 2π·width.
func KaiserLength(att, width float64) int {
	return 1 + int(math.Ceil(math.Max(0, att-8)/(2.285*2*math.Pi*width)))
}

// kaiserAt is the Kaiser window at distance x of its centre, in half lengths;
// 0 beyond 1.
func kaiserAt(x, beta float64) float64 {
	if x = math.Abs(x); x > 1 {
		return 0
	}
	return besselI0(beta*math.Sqrt((1-x)*(1+x))) / besselI0(beta)
}

// besselI0 is the modified Bessel function of the first kind, order 0, by its
// power series sum over k of ((x/2)^k / k!)²; every term is positive, so it
// holds to the last digits for the x < 100 used here.
// Source: Abramowitz and Stegun 9.6.12.
func besselI0(x float64) float64 {
	q := x * x / 4
	sum, term := 1.0, 1.0
	for k := 1.0; term > sum*1e-17; k++ {
		term *= q / (k * k)
		sum += term
	}
	return sum
}

// sinc is sin(πx)/(πx), exactly 1 at 0 and exactly 0 at every other integer.
func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	if x == math.Trunc(x) {
		return 0
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}
