// Package frame counts pictures exactly: frame rates as two integers, whole
// frame counts, and timecode after SMPTE ST 12-1. Nothing here is a float
// until it is asked for in seconds.
package frame

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// A Rate is pictures per second as a fraction; 30000/1001 for 29.97. The zero
// value means unknown.
type Rate struct {
	Num, Den int
}

// standard holds the rates the trade names by a rounded decimal.
var standard = []struct {
	rate  Rate
	names []string // the first is the one we write
}{
	{Rate{24000, 1001}, []string{"23.976", "23.98"}},
	{Rate{30000, 1001}, []string{"29.97"}},
	{Rate{48000, 1001}, []string{"47.952", "47.95"}},
	{Rate{60000, 1001}, []string{"59.94"}},
	{Rate{120000, 1001}, []string{"119.88"}},
}

// Bounds of both sides of a Rate and of pictures per second: no product here
// overflows, and no label needs more than three frame digits.
const (
	maxRatePart = 1 << 30
	maxRate     = 1000
)

// ParseRate reads "30000/1001", "25", "12.5" or a trade name: "23.976" (also
// "23.98") is 24000/1001, and 29.97, 47.952, 59.94 and 119.88 go the same way.
// "0/0" and "" are the unknown rate. The fraction is reduced.
func ParseRate(s string) (Rate, error) {
	if s == "" || s == "0/0" {
		return Rate{}, nil
	}
	for _, std := range standard {
		for _, name := range std.names {
			if s == name {
				return std.rate, nil
			}
		}
	}
	num, den, isFraction := strings.Cut(s, "/")
	if !isFraction {
		whole, decimals, _ := strings.Cut(s, ".")
		if len(decimals) > 6 {
			return Rate{}, fmt.Errorf("frame rate %q has more than six decimals", s)
		}
		num, den = whole+decimals, "1"+strings.Repeat("0", len(decimals))
	}
	n, d := digits(num), digits(den)
	if n <= 0 || d <= 0 || n > maxRatePart || d > maxRatePart {
		return Rate{}, fmt.Errorf("frame rate %q is neither a fraction such as 30000/1001 nor a number such as 25", s)
	}
	r := Rate{n, d}.reduced()
	if !r.Known() {
		return Rate{}, fmt.Errorf("frame rate %q is above %d pictures per second", s, maxRate)
	}
	return r, nil
}

// digits reads a decimal number without sign; -1 when it is none.
func digits(s string) int {
	if s == "" || strings.Trim(s, "0123456789") != "" {
		return -1
	}
	n, err := strconv.Atoi(s)
	if err != nil {
		return -1
	}
	return n
}

// Known tells whether the rate says anything: both parts positive and at most
// 1000 pictures per second.
func (r Rate) Known() bool {
	return r.Num > 0 && r.Den > 0 && r.Num <= maxRatePart && r.Den <= maxRatePart &&
		int64(r.Num) <= maxRate*int64(r.Den)
}

// Float returns pictures per second, 0 when unknown.
func (r Rate) Float() float64 {
	if r.Den == 0 {
		return 0
	}
	return float64(r.Num) / float64(r.Den)
}

// String returns the trade's name, "29.97" or "25", the fraction where there
// is none, and "unknown".
func (r Rate) String() string {
	if !r.Known() {
		return "unknown"
	}
	r = r.reduced()
	for _, std := range standard {
		if std.rate == r {
			return std.names[0]
		}
	}
	if r.Den == 1 {
		return strconv.Itoa(r.Num)
	}
	return r.Fraction()
}

// Fraction returns "30000/1001", "25/1", and "0/0" when unknown: the form
// ParseRate and media engines read back exactly.
func (r Rate) Fraction() string {
	if !r.Known() {
		return "0/0"
	}
	return strconv.Itoa(r.Num) + "/" + strconv.Itoa(r.Den)
}

// Equal tells whether two rates are the same number; 50/2 equals 25/1.
func (r Rate) Equal(q Rate) bool {
	return r.reduced() == q.reduced()
}

// Labels returns how many frame numbers a timecode second holds: the rate
// rounded to a whole number, 30 for 29.97; 0 when unknown.
func (r Rate) Labels() int {
	if !r.Known() {
		return 0
	}
	return max(1, int(math.Round(r.Float())))
}

func (r Rate) reduced() Rate {
	a, b := r.Num, r.Den
	for b != 0 {
		a, b = b, a%b
	}
	if a == 0 {
		return r
	}
	if a < 0 {
		a = -a
	}
	return Rate{r.Num / a, r.Den / a}
}
