//go:build !amd64

package dsp

var wide = false // see the processor that has it

func stepWide(x, y, root *complex128, q, s int) {}

func firstWide(x, y, root *complex128, q int) {}

func untangleWide(dst, z, turn *complex128, m int, scale float64, mirror uint64) {}

func conjWide(dst, z *complex128, m int) {}

func addProductsWide(acc *complex128, x0, y0, x1, y1, x2, y2 *complex64, n int, keep uint64) {}

func slideWide(dst, src, by *float32, n int) {}

func blend1Wide(x, a, b *float64, n int, f float64) float64 { return 0 }

func blend2Wide(x, y, a, b *float64, n int, f float64) (float64, float64) { return 0, 0 }

func addScaledWide(dst, src *float32, n int, by float32) {}

func lastWide(a, b *complex128, s int) {}

func readWide(bins *complex64, across *float32, n int, w *lanes) {}

func crossWide(x, y, sum *complex128, weight, xx, yy *float64, n int, w *lanes) {}

func taperedWide(dst *float64, src *float32, taper *float64, n int) {}

func widenedWide(dst *float64, src *float32, n int) {}

func narrowedWide(dst *complex64, src *complex128, n int) {}

func scaledWide(dst *float32, src *byte, n int, scale float32) {}

func greatestWide(v *float32, n int) float32 { return 0 }
