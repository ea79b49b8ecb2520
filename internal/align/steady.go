package align

import (
	"cmp"
	"math"
	"slices"

	"earshot/internal/dsp"
)

// How long a tone must be held to count, in frames, up to which frequency, and
// over how many bins the fine structure of a spectrum is taken.
const (
	heldFrames = 8 // 256 ms
	heldHigh   = 4000.0
	fineBins   = 8 // on each side
)

// A steadyFrame is how loud a frame is, and how like the one heldFrames before.
type steadyFrame struct{ level, like float64 }

// hold takes the spectrum y of the sound's next frame.
func (l *listener) hold() {
	from, to := l.edges[0], int(heldHigh*voiceFrame/dsp.ProxyRate)
	l.logs = slices.Grow(l.logs[:0], to-from+2*fineBins)[:to-from+2*fineBins]
	raw := l.logs
	level := 0.0
	for i := range raw {
		k := max(1, from-fineBins+i)
		power := real(l.y[k])*real(l.y[k]) + imag(l.y[k])*imag(l.y[k])
		level += power
		raw[i] = math.Log(power + 1e-12)
	}
	fine := make([]float32, to-from)
	var sum float64
	for _, v := range raw[:2*fineBins] {
		sum += v
	}
	for i := range fine {
		sum += raw[i+2*fineBins]
		fine[i] = float32(raw[i+fineBins] - sum/(2*fineBins+1))
		sum -= raw[i]
	}
	l.fine = append(l.fine, fine)
	if n := len(l.fine); n > heldFrames {
		l.steady = append(l.steady, steadyFrame{level, like(fine, l.fine[n-1-heldFrames])})
	}
}

// like is the correlation of two vectors of mean nought.
func like(a, b []float32) float64 {
	var ab, aa, bb float64
	for i := range a {
		ab += float64(a[i]) * float64(b[i])
		aa += float64(a[i]) * float64(a[i])
		bb += float64(b[i]) * float64(b[i])
	}
	if aa == 0 || bb == 0 {
		return 0
	}
	return ab / math.Sqrt(aa*bb)
}

// held is Voice.Steady: the median over the loudest fifth of the frames.
func (l *listener) held() float64 {
	if len(l.steady) == 0 {
		return 0
	}
	slices.SortFunc(l.steady, func(a, b steadyFrame) int { return cmp.Compare(b.level, a.level) })
	var loud []float64
	for _, f := range l.steady[:(len(l.steady)+4)/5] {
		loud = append(loud, f.like)
	}
	return dsp.Median(loud)
}
