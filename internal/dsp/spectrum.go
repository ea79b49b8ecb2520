package dsp

import (
	"math"
	"math/cmplx"
)

// A Spectrum is a band of a real signal's transform at ProxyRate. It says how high
// the signal stands, and how it leans, at any lag and not only at its samples.
type Spectrum struct {
	Bins  []complex64
	First int // which bin of the transform Bins[0] is
	Size  int // of the transform, samples
}

// A Reading is a signal at one lag: its height and first two derivatives over the
// lag in seconds.
type Reading struct{ Height, Lean, Bend float64 }

// every is how many bins are turned before the turns are begun anew, a multiple of
// four: rounding adds up.
const every = 256

// Read returns the signal at a lag in seconds. Where it is symmetric about that
// lag the bins are real there; what stands across is each one's part in the
// reading's lean, and across gets it if it has room for the bins.
func (s *Spectrum) Read(lag float64, across []float32) Reading {
	p := &reader{step: 2 * math.Pi * ProxyRate / float64(s.Size), scale: 2 / float64(s.Size)}
	p.turn = cmplx.Rect(1, p.step*lag)
	for from := 0; from < len(s.Bins); from += every {
		bins := s.Bins[from:min(from+every, len(s.Bins))]
		omega := p.step * float64(s.First+from)
		now := cmplx.Rect(1, omega*lag)
		var part []float32
		if across != nil {
			part = across[from : from+len(bins)]
		}
		if n := len(bins) &^ 3; wide && n > 0 {
			now, omega = p.wide(bins[:n], now, omega, part)
			bins, part = bins[n:], part[min(n, len(part)):]
		}
		p.plain(bins, now, omega, part)
	}
	return Reading{p.sum.Height * p.scale, p.sum.Lean * p.scale, p.sum.Bend * p.scale}
}

// A reader sums up bins that stand step apart, radians a second, each turned by
// turn more than the one before.
type reader struct {
	step  float64
	turn  complex128
	scale float64 // of what stands across
	sum   Reading // not scaled
}

// plain takes bins, of which the first stands at omega and is turned by now. What
// stands across them goes into across unless that is empty.
func (p *reader) plain(bins []complex64, now complex128, omega float64, across []float32) {
	for k, b := range bins {
		re := float64(real(b))*real(now) - float64(imag(b))*imag(now)
		im := float64(real(b))*imag(now) + float64(imag(b))*real(now)
		p.sum.Height += re
		p.sum.Lean -= omega * im
		p.sum.Bend -= omega * omega * re
		if len(across) > 0 {
			across[k] = float32(omega * im * p.scale)
		}
		now, omega = now*p.turn, omega+p.step
	}
}

// wide is plain for a multiple of four bins; it returns what comes after them.
func (p *reader) wide(bins []complex64, now complex128, omega float64, across []float32) (complex128, float64) {
	w := newLanes(now, p.turn)
	for i, k := range pairs {
		w.omega[i] = omega + p.step*float64(k)
		w.step[i] = 4 * p.step
		w.scale[i] = p.scale
	}
	var to *float32
	if len(across) > 0 {
		to = &across[0]
	}
	readWide(&bins[0], to, len(bins), w)
	for i := range 4 {
		p.sum.Height += w.sums[0][i]
		p.sum.Lean -= w.sums[1][i]
		p.sum.Bend -= w.sums[2][i]
	}
	return complex(w.re[0], w.im[0]), w.omega[0]
}

// lanes are what four bins at a time are turned by, in the order of pairs, and
// what is summed up of them. Afterwards the turns and omega are those of the bins
// that come next.
type lanes struct {
	re, im         [4]float64
	stepRe, stepIm [4]float64 // of the turn, over four bins
	omega, step    [4]float64 // radians a second, and over four bins
	scale          [4]float64
	sums           [3][4]float64
}

// pairs is the order in which the parts of four complex values come out of two
// registers.
var pairs = [4]int{0, 2, 1, 3}

// newLanes are turns by now at the first bin and by turn more at each next.
func newLanes(now, turn complex128) *lanes {
	w := &lanes{}
	twice := turn * turn
	four := twice * twice
	for i, t := range [4]complex128{now, now * twice, now * turn, now * turn * twice} {
		w.re[i], w.im[i] = real(t), imag(t)
		w.stepRe[i], w.stepIm[i] = real(four), imag(four)
	}
	return w
}

// A Cross sums up what windows have in common: conj(x)·y, and the powers of both.
type Cross struct {
	Sum  []complex128
	X, Y []float64
}

// Whitened adds the spectra x and y of two windows to c and replaces x by their
// partly whitened cross-spectrum conj(x)·y·weight/|x·y|^¾, bin k turned by
// turn·(first+k) radians, as exact as a float32 is. It returns the weighed power of
// y, and the power of what x is now. All are of one length.
func (c *Cross) Whitened(x, y []complex128, weight []float64, first int, turn float64) (level, power float64) {
	step := cmplx.Rect(1, turn)
	for from := 0; from < len(x); from += every {
		p := &crossing{x[from:], y[from:], c.Sum[from:], weight[from:], c.X[from:], c.Y[from:], step, 0, 0}
		now, left := cmplx.Rect(1, turn*float64(first+from)), min(every, len(x)-from)
		if n := left &^ 3; wide && n > 0 {
			w := newLanes(now, step)
			crossWide(&p.x[0], &p.y[0], &p.sum[0], &p.weight[0], &p.xx[0], &p.yy[0], n, w)
			for i := range 4 {
				p.level += w.sums[0][i]
				p.power += w.sums[1][i]
			}
			p.plain(n, left, complex(w.re[0], w.im[0]))
		} else {
			p.plain(0, left, now)
		}
		level, power = level+p.level, power+p.power
	}
	return level, power
}

// A crossing is some bins of what Whitened works on, each turned by step more than
// the one before.
type crossing struct {
	x, y, sum      []complex128
	weight, xx, yy []float64
	step           complex128
	level, power   float64
}

// faintest is a product of powers under which there is nothing.
const faintest = 1e-30

// plain takes the bins from from to to, of which the first is turned by now.
func (p *crossing) plain(from, to int, now complex128) {
	for k := from; k < to; k++ {
		xr, xi, yr, yi := real(p.x[k]), imag(p.x[k]), real(p.y[k]), imag(p.y[k])
		x2, y2 := xr*xr+xi*xi, yr*yr+yi*yi
		g := complex(xr*yr+xi*yi, xr*yi-xi*yr) * now
		now *= p.step
		p.level += p.weight[k] * y2
		p.sum[k] += g
		p.xx[k] += x2
		p.yy[k] += y2
		m2 := x2 * y2
		if m2 < faintest {
			p.x[k] = 0
			continue
		}
		scale := p.weight[k] / Whitens(m2)
		p.x[k] = complex(scale*real(g), scale*imag(g))
		p.power += scale * scale * m2
	}
}

// Whitens is what a bin of power m2 is divided by to be partly whitened: m2 to the
// power of 3/8, as exact as a float32 is.
func Whitens(m2 float64) float64 {
	root := sqrt(sqrt(float32(m2)))
	return float64(root * sqrt(root))
}

func sqrt(v float32) float32 { return float32(math.Sqrt(float64(v))) }
