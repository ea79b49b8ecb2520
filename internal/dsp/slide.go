package dsp

// SlideTaps is how many samples Slide weighs.
const SlideTaps = 12

// Slide puts Σ by[j]·src[i+j] into each dst[i]: src has at least SlideTaps-1 more
// samples than dst.
func Slide(dst, src []float32, by *[SlideTaps]float32) {
	src = src[:len(dst)+SlideTaps-1]
	done := 0
	if wide && len(dst) >= 8 {
		done = len(dst) &^ 7
		slideWide(&dst[0], &src[0], &by[0], done)
	}
	a, b, c, d, e, f := by[0], by[1], by[2], by[3], by[4], by[5]
	g, h, k, l, m, n := by[6], by[7], by[8], by[9], by[10], by[11]
	for i := done; i < len(dst); i++ {
		x := (*[SlideTaps]float32)(src[i:])
		even := a*x[0] + c*x[2] + e*x[4] + g*x[6] + k*x[8] + m*x[10]
		odd := b*x[1] + d*x[3] + f*x[5] + h*x[7] + l*x[9] + n*x[11]
		dst[i] = even + odd
	}
}

// AddScaled adds by·src[i] to each dst[i]. Both have one length.
func AddScaled(dst, src []float32, by float32) {
	src = src[:len(dst)]
	done := 0
	if wide && len(dst) >= 8 {
		done = len(dst) &^ 7
		addScaledWide(&dst[0], &src[0], done, by)
	}
	for i := done; i < len(dst); i++ {
		dst[i] += by * src[i]
	}
}
