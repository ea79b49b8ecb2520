package dsp

import "encoding/binary"

// Tapered puts src times taper into dst, all of one length.
func Tapered(dst []float64, src []float32, taper []float64) {
	n := len(src)
	dst, taper = dst[:n], taper[:n]
	done := 0
	if wide && n >= 4 {
		done = n &^ 3
		taperedWide(&dst[0], &src[0], &taper[0], done)
	}
	for i := done; i < n; i++ {
		dst[i] = float64(src[i]) * taper[i]
	}
}

// Widened puts src into dst, which is as long.
func Widened(dst []float64, src []float32) {
	dst = dst[:len(src)]
	done := 0
	if wide && len(src) >= 4 {
		done = len(src) &^ 3
		widenedWide(&dst[0], &src[0], done)
	}
	for i := done; i < len(src); i++ {
		dst[i] = float64(src[i])
	}
}

// Narrowed puts src into dst, which is as long.
func Narrowed(dst []complex64, src []complex128) {
	dst = dst[:len(src)]
	done := 0
	if wide && len(src) >= 2 {
		done = len(src) &^ 1
		narrowedWide(&dst[0], &src[0], done)
	}
	for i := done; i < len(src); i++ {
		dst[i] = complex64(src[i])
	}
}

// Scaled puts the little-endian int16 in src, times scale, into dst, for which
// there are two bytes each.
func Scaled(dst []float32, src []byte, scale float32) {
	src = src[:2*len(dst)]
	done := 0
	if wide && len(dst) >= 8 {
		done = len(dst) &^ 7
		scaledWide(&dst[0], &src[0], done, scale)
	}
	for i := done; i < len(dst); i++ {
		dst[i] = scale * float32(int16(binary.LittleEndian.Uint16(src[2*i:])))
	}
}

// Greatest returns the greatest magnitude in v, 0 of none.
func Greatest(v []float32) (top float32) {
	done := 0
	if wide && len(v) >= 8 {
		done = len(v) &^ 7
		top = greatestWide(&v[0], done)
	}
	for _, x := range v[done:] {
		top = max(top, x, -x)
	}
	return top
}
