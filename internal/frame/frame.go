// Package frame counts pictures exactly: frame rates as two integers, whole
// frame counts, and timecode after SMPTE ST 12-1. Nothing here is a float
// until it is printed.
package frame

// A Rate is pictures per second as a fraction; 30000/1001 for 29.97. The zero
// value means unknown.
type Rate struct {
	Num, Den int
}

// Float returns pictures per second, 0 when unknown.
func (r Rate) Float() float64 {
	if r.Den == 0 {
		return 0
	}
	return float64(r.Num) / float64(r.Den)
}
