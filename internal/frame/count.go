package frame

import (
	"math"
	"math/big"
)

// A Count is a whole number of frames. Frame 0 starts at time 0; frame n is
// on the screen from Time(n) up to, not including, Time(n+1).
type Count int64

// Exact returns the start of frame n in seconds, n·Den/Num, without rounding;
// nil when the rate is unknown.
func (r Rate) Exact(n Count) *big.Rat {
	if !r.Known() {
		return nil
	}
	t := big.NewRat(int64(r.Den), int64(r.Num))
	return t.Mul(t, new(big.Rat).SetInt64(int64(n)))
}

// Time returns the start of frame n in seconds: the float64 nearest to the
// exact value, so no error gathers however large n is. 0 when unknown.
func (r Rate) Time(n Count) float64 {
	if !r.Known() {
		return 0
	}
	t, _ := r.Exact(n).Float64()
	return t
}

// At returns the frame on the screen at t seconds: the last n with
// Time(n) ≤ t, so At(Time(n)) is n. It is 0 when the rate is unknown or t is
// not within ±2^53 frames.
func (r Rate) At(t float64) Count {
	n, ok := r.frames(t)
	if !ok {
		return 0
	}
	whole := floor(n)
	if r.Time(whole+1) <= t {
		whole++ // t is a frame's start that float64 rounds down
	}
	return whole
}

// Nearest returns the frame whose start is nearest to t seconds, the later of
// two equally near. It is 0 where At is.
func (r Rate) Nearest(t float64) Count {
	n, ok := r.frames(t)
	if !ok {
		return 0
	}
	return floor(n.Add(n, big.NewRat(1, 2)))
}

// frames is t·Num/Den, exactly.
func (r Rate) frames(t float64) (*big.Rat, bool) {
	if !r.Known() || !(math.Abs(t*r.Float()) < 1<<53) {
		return nil, false
	}
	n := new(big.Rat).SetFloat64(t)
	return n.Mul(n, big.NewRat(int64(r.Num), int64(r.Den))), true
}

// Sample returns the sample, at hz samples per second, nearest to the start of
// frame n, the later of two equally near; 0 when the rate is unknown. At 29.97
// and 48 kHz frames so hold 1602 1601 1602 1601 1602 samples, then again.
func (r Rate) Sample(n Count, hz int) int64 {
	if !r.Known() {
		return 0
	}
	s := r.Exact(n)
	s.Mul(s, new(big.Rat).SetInt64(int64(hz)))
	return int64(floor(s.Add(s, big.NewRat(1, 2))))
}

// Samples returns how many samples at hz per second frame n holds, as Sample
// places its start and its end.
func (r Rate) Samples(n Count, hz int) int {
	return int(r.Sample(n+1, hz) - r.Sample(n, hz))
}

// floor rounds down, to the ends of int64 where x lies beyond.
func floor(x *big.Rat) Count {
	// Euclidean division by the positive denominator rounds down.
	q := new(big.Int).Div(x.Num(), x.Denom())
	switch {
	case q.IsInt64():
		return Count(q.Int64())
	case q.Sign() < 0:
		return math.MinInt64
	}
	return math.MaxInt64
}

// WrapDay takes a difference between two times of day in seconds and returns
// the same difference across midnight, in (-43200, 43200]: 23:59:50 to
// 00:00:10 is +20 s.
func WrapDay(seconds float64) float64 {
	const day = 24 * 60 * 60
	d := math.Remainder(seconds, day) // within ±day/2, exactly
	if d <= -day/2 {
		d += day
	}
	return d
}
