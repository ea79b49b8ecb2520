package dsp

// Products puts the cross-spectrum Σ conj(x[b][k])·y[b][k] over all bands b into
// acc[k]. The bands, a multiple of three of them, are as long as acc; three are added
// up in float32, those sums in float64.
func Products(acc []complex128, x, y [][]complex64) {
	n := len(acc)
	for b := 0; b < len(x); b += 3 {
		x0, x1, x2 := x[b][:n], x[b+1][:n], x[b+2][:n]
		y0, y1, y2 := y[b][:n], y[b+1][:n], y[b+2][:n]
		keep := ^uint64(0)
		if b == 0 {
			keep = 0
		}
		done := 0
		if wide && n >= 4 {
			done = n &^ 3
			addProductsWide(&acc[0], &x0[0], &y0[0], &x1[0], &y1[0], &x2[0], &y2[0], done, keep)
		}
		if b == 0 {
			clear(acc[done:])
		}
		for k := done; k < n; k++ {
			acc[k] += product(x0[k], y0[k], x1[k], y1[k], x2[k], y2[k])
		}
	}
}

// product is conj(a)·d + conj(b)·e + conj(c)·f.
func product(a, d, b, e, c, f complex64) complex128 {
	re := real(a)*real(d) + imag(a)*imag(d) + real(b)*real(e) + imag(b)*imag(e) + real(c)*real(f) + imag(c)*imag(f)
	im := real(a)*imag(d) - imag(a)*real(d) + real(b)*imag(e) - imag(b)*real(e) + real(c)*imag(f) - imag(c)*real(f)
	return complex(float64(re), float64(im))
}
