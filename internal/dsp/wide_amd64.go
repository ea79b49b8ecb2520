package dsp

import "golang.org/x/sys/cpu"

// wide tells whether this processor works on two complex values at a time.
var wide = cpu.X86.HasAVX2 && cpu.X86.HasFMA

// stepWide is halfFFT.step, for q quarters of runs of s values, s even.
//
//go:noescape
func stepWide(x, y, root *complex128, q, s int)

// firstWide is halfFFT.first, for q quarters, q even.
//
//go:noescape
func firstWide(x, y, root *complex128, q int)

// untangleWide makes the transform dst of 2m real values out of that of m complex
// ones, z, all but its ends: see halfFFT. Where mirror is all ones, it is given
// conjugates. m is a multiple of four.
//
//go:noescape
func untangleWide(dst, z, turn *complex128, m int, scale float64, mirror uint64)

// conjWide puts the conjugates of m values into dst, m a multiple of four.
//
//go:noescape
func conjWide(dst, z *complex128, m int)

// addProductsWide adds conj(x0)·y0 + conj(x1)·y1 + conj(x2)·y2 to acc, all of n
// values, n a multiple of four. Where keep is 0, what stood in acc is forgotten;
// otherwise it is all ones.
//
//go:noescape
func addProductsWide(acc *complex128, x0, y0, x1, y1, x2, y2 *complex64, n int, keep uint64)

// slideWide is Slide for n values, n a multiple of eight.
//
//go:noescape
func slideWide(dst, src, by *float32, n int)

// blend1Wide is blend1 for n values, n a multiple of four.
//
//go:noescape
func blend1Wide(x, a, b *float64, n int, f float64) float64

// blend2Wide is blend2 likewise.
//
//go:noescape
func blend2Wide(x, y, a, b *float64, n int, f float64) (float64, float64)

// addScaledWide is AddScaled for n values, n a multiple of eight.
//
//go:noescape
func addScaledWide(dst, src *float32, n int, by float32)

// lastWide puts a[i]+a[s+i] and a[i]-a[s+i] into b[i] and b[s+i], for all i under
// s, s a multiple of two.
//
//go:noescape
func lastWide(a, b *complex128, s int)

// readWide is reader.plain for n bins, n a multiple of four: w's sums are those of
// the turned bins' real parts, of their imaginary parts times omega, and of the real
// parts times omega squared. across may be nil.
//
//go:noescape
func readWide(bins *complex64, across *float32, n int, w *lanes)

// crossWide is crossing.plain for n bins, n a multiple of four: w's first two sums
// are level and power.
//
//go:noescape
func crossWide(x, y, sum *complex128, weight, xx, yy *float64, n int, w *lanes)

// taperedWide is Tapered for n values, n a multiple of four.
//
//go:noescape
func taperedWide(dst *float64, src *float32, taper *float64, n int)

// widenedWide is Widened for n values, n a multiple of four.
//
//go:noescape
func widenedWide(dst *float64, src *float32, n int)

// narrowedWide is Narrowed for n values, n a multiple of two.
//
//go:noescape
func narrowedWide(dst *complex64, src *complex128, n int)

// scaledWide is Scaled for n values, n a multiple of eight.
//
//go:noescape
func scaledWide(dst *float32, src *byte, n int, scale float32)

// greatestWide is Greatest for n values, n a multiple of eight.
//
//go:noescape
func greatestWide(v *float32, n int) float32
