package dsp

import (
	"errors"
	"math"
)

// The K-weighting at 48 kHz, as published: ITU-R BS.1770-5, tables 1 and 2.
var (
	kShelf    = biquad{b: [3]float64{1.53512485958697, -2.69169618940638, 1.19839281085285}, a: [2]float64{-1.69065929318241, 0.73248077421585}}
	kHighPass = biquad{b: [3]float64{1, -2, 1}, a: [2]float64{-1.99004745483398, 0.99007225036621}}
)

// What BS.1770-5 and EBU R 128 gate by.
const (
	kOffset      = -0.691 // dB, so that 997 Hz reads as its level
	loudHops     = 4      // of 100 ms, in a block of 400 ms: three quarters overlap
	loudFloor    = -70.0  // LUFS: quieter blocks count for nothing
	loudRelative = -10.0  // LU below the mean of the others, likewise
)

// A Loudness measures the integrated loudness of a sound, ITU-R BS.1770-5 with
// the gates of EBU R 128, in LUFS. One channel is weighed as the left one of two
// would be: the same sound on both channels reads 3.01 LU higher. An hour takes
// 300 KB. Not for concurrent use.
type Loudness struct {
	rate     float64
	channels int
	shelf    []filter // one a channel
	pass     []filter

	hop    int // hops begun since the start or the last break
	at     int64
	next   int64   // frame at which the hop ends
	sum    float64 // of squares, all channels, within the hop
	hops   [loudHops]float64
	blocks []float64 // mean squares of whole blocks
}

// NewLoudness begins to measure sound of a rate in Hz, 16000 or more, with one
// channel or two.
//
// The weighting filters are given for 48 kHz. At another rate each is taken back
// to the analogue filter whose bilinear transform it is, and that is transformed
// anew such that its own frequency stays where it was. From 44.1 kHz on the
// weighting stays within 0.02 dB up to 10 kHz; at 16 kHz 1 kHz reads 0.05 dB low.
func NewLoudness(rate float64, channels int) (*Loudness, error) {
	const least, most = 16000, 1 << 20
	if !(rate >= least && rate <= most) || channels < 1 || channels > 2 {
		return nil, errors.New("loudness: the rate must be 16 kHz or more, and the channels one or two")
	}
	l := &Loudness{rate: rate, channels: channels}
	for range channels {
		l.shelf = append(l.shelf, filter{biquad: kShelf.at(rate)})
		l.pass = append(l.pass, filter{biquad: kHighPass.at(rate)})
	}
	l.Break()
	return l, nil
}

// Write takes the next samples, interleaved, whole frames. One that is not a
// finite number counts as silence.
func (l *Loudness) Write(x []float32) {
	for len(x) >= l.channels {
		frames := min(int(l.next-l.at), len(x)/l.channels)
		for c := range l.channels {
			l.sum += l.weigh(c, x[c:frames*l.channels])
		}
		x = x[frames*l.channels:]
		if l.at += int64(frames); l.at == l.next {
			l.endHop()
		}
	}
}

// weigh is the sum of squares of a channel's weighted samples.
func (l *Loudness) weigh(c int, x []float32) (sum float64) {
	shelf, pass := l.shelf[c], l.pass[c]
	for i := 0; i < len(x); i += l.channels {
		v := float64(x[i])
		if v-v != 0 {
			v = 0
		}
		v = pass.run(shelf.run(v))
		sum += v * v
	}
	shelf.settle()
	pass.settle()
	l.shelf[c], l.pass[c] = shelf, pass
	return sum
}

// endHop takes in a whole hop, and the block that it ends.
func (l *Loudness) endHop() {
	copy(l.hops[:], l.hops[1:])
	l.hops[loudHops-1] = l.sum
	l.sum = 0
	if l.hop++; l.hop >= loudHops {
		frames := hopEnd(l.hop, l.rate) - hopEnd(l.hop-loudHops, l.rate)
		var sum float64
		for _, h := range l.hops {
			sum += h
		}
		l.blocks = append(l.blocks, sum/float64(frames))
	}
	l.next = hopEnd(l.hop+1, l.rate)
}

// hopEnd is the frame at which hop n, counted from 1, ends.
func hopEnd(n int, rate float64) int64 { return int64(math.Round(float64(n) * rate / 10)) }

// Break says that what comes next does not go on from what came before: no block
// holds sound of both.
func (l *Loudness) Break() {
	l.hop, l.at, l.sum, l.next = 0, 0, 0, hopEnd(1, l.rate)
	for c := range l.channels {
		l.shelf[c].clear()
		l.pass[c].clear()
	}
}

// Integrated is the loudness so far, LUFS: -Inf where no block passes the gates,
// which silence and less than 400 ms do not.
func (l *Loudness) Integrated() float64 {
	gate := power10(loudFloor)
	mean := meanAbove(l.blocks, gate)
	if mean == 0 {
		return math.Inf(-1)
	}
	return kOffset + 10*math.Log10(meanAbove(l.blocks, max(gate, mean*math.Pow(10, loudRelative/10))))
}

// power10 is the mean square that reads as so many LUFS.
func power10(lufs float64) float64 { return math.Pow(10, (lufs-kOffset)/10) }

// meanAbove is the mean of those blocks that exceed gate; 0 where none does.
func meanAbove(blocks []float64, gate float64) float64 {
	var sum float64
	n := 0
	for _, b := range blocks {
		if b > gate {
			sum += b
			n++
		}
	}
	return sum / float64(max(1, n))
}

// A biquad is (b0 + b1/z + b2/z²) / (1 + a1/z + a2/z²).
type biquad struct {
	b [3]float64
	a [2]float64
}

// at is a filter given for 48 kHz at another rate.
//
// With p = (z-1)/(z+1) the filter is a ratio of polynomials in p, whose
// denominator d0 + d1·p + d2·p² turns about p0 = sqrt(d0/d2). By the bilinear
// transform p = i·tan(πf/rate): p0 stands for a frequency, and at another rate
// the same frequency has another p0. The polynomials are stretched by that.
func (q biquad) at(rate float64) biquad {
	if rate == 48000 {
		return q
	}
	num, den := flipped(q.b), flipped([3]float64{1, q.a[0], q.a[1]})
	p0 := math.Sqrt(den[0] / den[2])
	stretch := p0 / math.Tan(math.Atan(p0)*48000/rate)
	for i, k := range []float64{1, stretch, stretch * stretch} {
		num[i] *= k
		den[i] *= k
	}
	b, a := flipped(num), flipped(den)
	for i := range b {
		b[i] /= a[0]
	}
	return biquad{b: b, a: [2]float64{a[1] / a[0], a[2] / a[0]}}
}

// flipped turns c0 + c1/z + c2/z², times (1+p)², into powers of p, and back but
// for a factor of 4: 1/z is (1-p)/(1+p), and p is (1-1/z)/(1+1/z).
func flipped(c [3]float64) [3]float64 {
	return [3]float64{c[0] + c[1] + c[2], 2 * (c[0] - c[2]), c[0] - c[1] + c[2]}
}

// A filter is a biquad at work, in the transposed direct form II.
type filter struct {
	biquad
	s1, s2 float64
}

func (f *filter) run(v float64) float64 {
	out := f.b[0]*v + f.s1
	f.s1 = f.b[1]*v - f.a[0]*out + f.s2
	f.s2 = f.b[2]*v - f.a[1]*out
	return out
}

func (f *filter) clear() { f.s1, f.s2 = 0, 0 }

// settle ends what rings on so faintly that arithmetic would become slow.
func (f *filter) settle() {
	const faint = 1e-30
	if math.Abs(f.s1) < faint && math.Abs(f.s2) < faint {
		f.clear()
	}
}
