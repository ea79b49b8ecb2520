package frame

import (
	"fmt"
	"strings"
)

// A Timecode is a frame's label hh:mm:ss:ff after SMPTE ST 12-1, for one rate
// and one way of counting. Labels run through a day and start again.
//
// At 29.97 a second has 30 labels though 30 frames last longer than a second.
// Drop-frame counting, written hh:mm:ss;ff, skips the labels 00 and 01 of
// every minute not divisible by ten (00-03 at 59.94, 00-07 at 119.88) to keep
// near the clock. It skips labels, never pictures. No other rate has it.
//
// The zero value is no timecode. Make one with NewTimecode or ParseTimecode.
type Timecode struct {
	rate  Rate
	drop  bool
	frame Count // since label 00:00:00:00, in [0, day)
}

// NewTimecode returns the label n frames after 00:00:00:00, wrapped into one
// day; n may be negative.
func NewTimecode(r Rate, drop bool, n Count) (Timecode, error) {
	if !r.Known() {
		return Timecode{}, fmt.Errorf("timecode needs a frame rate")
	}
	if drop && dropped(r) == 0 {
		return Timecode{}, fmt.Errorf("there is no drop-frame timecode at %s pictures per second", r)
	}
	t := Timecode{rate: r, drop: drop}
	day := t.Day()
	t.frame = ((n % day) + day) % day
	return t, nil
}

// ParseTimecode reads "hh:mm:ss:ff" or, drop-frame, "hh:mm:ss;ff": two digits
// each (three for frames above 100 pictures per second). Labels that do not
// exist, such as 00:01:00;00 at 29.97, are refused.
func ParseTimecode(s string, r Rate) (Timecode, error) {
	t, err := NewTimecode(r, strings.Contains(s, ";"), 0)
	if err != nil {
		return Timecode{}, fmt.Errorf("timecode %q: %w", s, err)
	}
	labels := r.Labels()
	if len(s) != len("hh:mm:ss:")+frameDigits(labels) || s[2] != ':' || s[5] != ':' || s[8] != ':' && s[8] != ';' {
		return Timecode{}, fmt.Errorf("timecode %q is not of the form hh:mm:ss:ff or hh:mm:ss;ff", s)
	}
	var field [4]int
	for i, part := range []string{s[0:2], s[3:5], s[6:8], s[9:]} {
		field[i] = digits(part)
		if limit := [4]int{24, 60, 60, labels}[i]; field[i] < 0 || field[i] >= limit {
			return Timecode{}, fmt.Errorf("timecode %q: %q must be a number below %d", s, part, limit)
		}
	}
	minutes := Count(field[0]*60 + field[1])
	t.frame = (minutes*60+Count(field[2]))*Count(labels) + Count(field[3])
	if t.drop {
		skip := dropped(r)
		if field[1]%10 != 0 && field[2] == 0 && Count(field[3]) < skip {
			return Timecode{}, fmt.Errorf("timecode %q: drop-frame counting skips this label", s)
		}
		t.frame -= skip * (minutes - minutes/10)
	}
	return t, nil
}

// String returns the label; "" for the zero value.
func (t Timecode) String() string {
	labels := Count(t.rate.Labels())
	if labels == 0 {
		return ""
	}
	n, mark := t.frame, ":"
	if t.drop {
		mark = ";"
		n += t.skipped(labels)
	}
	seconds := n / labels
	return fmt.Sprintf("%02d:%02d:%02d%s%0*d", seconds/3600, seconds/60%60, seconds%60,
		mark, frameDigits(int(labels)), n%labels)
}

// skipped returns the labels left out between 00:00:00;00 and this frame: nine
// minutes in ten leave out some, and within ten the first is not among them.
func (t Timecode) skipped(labels Count) Count {
	skip := dropped(t.rate)
	minute := 60*labels - skip // frames in a minute that leaves some out
	ten := 10*minute + skip
	n := 9 * skip * (t.frame / ten)
	if rest := t.frame%ten - skip; rest >= 0 {
		n += skip * (rest / minute)
	}
	return n
}

// Rate returns the rate the label counts at.
func (t Timecode) Rate() Rate { return t.rate }

// Drop tells drop-frame counting.
func (t Timecode) Drop() bool { return t.drop }

// Frame returns the frames since label 00:00:00:00, at least 0 and below Day.
func (t Timecode) Frame() Count { return t.frame }

// Seconds returns the real time since label 00:00:00:00. At 29.97 non-drop
// label 01:00:00:00 is 3603.6 s after it.
func (t Timecode) Seconds() float64 { return t.rate.Time(t.frame) }

// Day returns the frames from one label 00:00:00:00 to the next, 0 for the
// zero value. Only at whole rates is that a day of the clock: 86 399.9136 s
// at 29.97 drop-frame, 86 486.4 s at 23.976.
func (t Timecode) Day() Count {
	day := 24 * 60 * 60 * Count(t.rate.Labels())
	if t.drop {
		day -= dropped(t.rate) * 24 * 54
	}
	return day
}

// Add returns the label n frames later, earlier when n is negative, wrapping
// at midnight.
func (t Timecode) Add(n Count) Timecode {
	day := t.Day()
	if day == 0 {
		return t
	}
	t.frame = (t.frame + n%day + day) % day
	return t
}

// Sub returns how many frames t lies after u, negative when before, across
// midnight if that is nearer: the answer is above minus half a day and at most
// half a day. The two must count alike.
func (t Timecode) Sub(u Timecode) (Count, error) {
	if !t.rate.Equal(u.rate) || t.drop != u.drop || t.Day() == 0 {
		return 0, fmt.Errorf("timecode %s at %s and %s at %s do not count alike", t, t.rate, u, u.rate)
	}
	day := t.Day()
	d := ((t.frame-u.frame)%day + day) % day
	if 2*d > day {
		d -= day
	}
	return d, nil
}

// dropped returns the labels drop-frame counting skips each minute, 0 where it
// does not exist.
func dropped(r Rate) Count {
	switch r.reduced() {
	case Rate{30000, 1001}:
		return 2
	case Rate{60000, 1001}:
		return 4
	case Rate{120000, 1001}:
		return 8
	}
	return 0
}

// frameDigits is the width of the frame field.
func frameDigits(labels int) int {
	if labels > 100 {
		return 3
	}
	return 2
}
