package dsp

import (
	"encoding/binary"
	"math"
)

// The measure of a wave's picture. A bin of level L describes 64·4^L samples
// at ProxyRate: 4 ms at level 0, 16.4 s at level 6.
const (
	BinLevels = 7
	BinBytes  = 6
	binHop    = 64    // samples of a bin of level 0
	binParts  = 4     // bins of one level in a bin of the next
	binFull   = 32767 // full scale
)

// BinSpan is how many samples at ProxyRate one bin of a level describes.
func BinSpan(level int) int { return binHop << (2 * level) }

// BinCount is how many bins of a level describe n samples; the last may be of
// fewer samples than the others.
func BinCount(n, level int) int { return (n + BinSpan(level) - 1) / BinSpan(level) }

// A Bin is what a stretch of samples reaches and how strong it is; 32767 is a
// sample value of 1. Low is rounded down and High up, so that a peak is never
// understated; both are held within ±32767, and so is the root mean square,
// which is rounded to the nearest.
type Bin struct {
	Low, High int16
	RMS       uint16
}

// BinAt reads the bin that b begins with: BinBytes bytes, little-endian, in
// the order of the fields.
func BinAt(b []byte) Bin {
	_ = b[BinBytes-1]
	return Bin{int16(binary.LittleEndian.Uint16(b)), int16(binary.LittleEndian.Uint16(b[2:])), binary.LittleEndian.Uint16(b[4:])}
}

// Top is the bin's greatest magnitude.
func (b Bin) Top() int { return max(int(b.High), -int(b.Low)) }

// Peaks makes bins of all levels of one mono sound in one pass. Bins of a level
// are made of the samples, not of the rounded bins below. A sample that is not
// a finite number counts as silence. The zero value is ready.
//
// Its bytes are those of level 0, then all of level 1, and so on: BinCount bins
// each. Memory is a third of what level 0 takes, 1.8 MB an hour.
type Peaks struct {
	sums  [BinLevels]binSum
	above [BinLevels][]byte // bins of levels 1 and up
	out   []byte            // bins of level 0 that were not taken
}

// A binSum is a bin in the making.
type binSum struct {
	low, high float32
	squares   float64
	n         int // samples in it
	parts     int // samples at level 0, else bins of the level below
}

// Write takes the next samples.
func (p *Peaks) Write(x []float32) {
	for len(x) > 0 {
		n := min(binHop-p.sums[0].parts, len(x))
		sum := sumBin(x[:n])
		sum.parts = n
		p.add(0, sum)
		x = x[n:]
		if p.sums[0].parts == binHop {
			p.close(0)
		}
	}
}

// Take returns the bins of level 0 that were settled since the last call. They
// are valid until the next call of a method.
func (p *Peaks) Take() []byte {
	taken := p.out
	p.out = p.out[:0]
	return taken
}

// Close ends the sound and returns the rest: what is left of level 0, then all
// bins of the levels above it.
func (p *Peaks) Close() []byte {
	for level := range p.sums {
		if p.sums[level].n > 0 {
			p.close(level)
		}
	}
	for _, bins := range p.above {
		p.out = append(p.out, bins...)
	}
	return p.Take()
}

// add puts a part into a level's bin.
func (p *Peaks) add(level int, part binSum) {
	s := &p.sums[level]
	if s.n == 0 {
		*s = part
		return
	}
	s.low, s.high = min(s.low, part.low), max(s.high, part.high)
	s.squares += part.squares
	s.n += part.n
	s.parts += part.parts
}

// close settles a level's bin and hands it to the level above.
func (p *Peaks) close(level int) {
	s := p.sums[level]
	p.sums[level] = binSum{}
	if level == 0 {
		p.out = s.append(p.out)
	} else {
		p.above[level] = s.append(p.above[level])
	}
	if level+1 == BinLevels {
		return
	}
	s.parts = 1
	p.add(level+1, s)
	if p.sums[level+1].parts == binParts {
		p.close(level + 1)
	}
}

// append writes the bin behind b.
func (s *binSum) append(b []byte) []byte {
	low, high := -ceiled(-s.low), ceiled(s.high)
	rms := int(min(1, math.Sqrt(s.squares/float64(s.n)))*binFull + 0.5)
	return append(b, byte(low), byte(low>>8), byte(high), byte(high>>8), byte(rms), byte(rms>>8))
}

// ceiled is v in units of a Bin, rounded up and held within full scale.
func ceiled(v float32) int {
	switch {
	case v >= 1:
		return binFull
	case v <= -1:
		return -binFull
	}
	exact := float64(v) * binFull
	n := int(exact)
	if float64(n) < exact {
		n++
	}
	return n
}

// sumBin sums up samples, at least one and at most binHop. The lowest and highest
// are found among whole numbers that are ordered as the samples are, which needs
// no branch; four sums of squares keep the adder busy.
func sumBin(x []float32) binSum {
	low, high := ordered(x[0]), ordered(x[0])
	for _, v := range x {
		o := ordered(v)
		low, high = min(low, o), max(high, o)
	}
	var a, b, c, d float64
	i := 3
	for ; i < len(x); i += 4 {
		a += float64(x[i-3]) * float64(x[i-3])
		b += float64(x[i-2]) * float64(x[i-2])
		c += float64(x[i-1]) * float64(x[i-1])
		d += float64(x[i]) * float64(x[i])
	}
	for _, v := range x[i-3:] {
		a += float64(v) * float64(v)
	}
	if squares := a + b + (c + d); squares-squares == 0 {
		return binSum{low: disordered(low), high: disordered(high), squares: squares, n: len(x)}
	}
	var clean [binHop]float32 // some sample was no finite number
	for i, v := range x {
		if v-v == 0 {
			clean[i] = v
		}
	}
	return sumBin(clean[:len(x)])
}

// ordered turns a sample's bits into a whole number such that of two samples the
// greater has the greater one: below zero IEEE 754 counts magnitudes.
func ordered(v float32) int32 {
	b := int32(math.Float32bits(v))
	return b ^ b>>31&math.MaxInt32
}

func disordered(o int32) float32 { return math.Float32frombits(uint32(o ^ o>>31&math.MaxInt32)) }
