package cli

import (
	"fmt"
	"math"
	"time"
)

// place writes a signed moment in seconds as +m:ss.ssss or +h:mm:ss.ssss, to
// a tenth of a millisecond.
func place(s float64) string {
	if math.IsNaN(s) || math.IsInf(s, 0) || math.Abs(s) > 1e9 {
		return "?"
	}
	sign, tenths := "+", int64(math.Round(math.Abs(s)*1e4))
	if s < 0 && tenths != 0 {
		sign = "-"
	}
	sec, frac := tenths/1e4, tenths%1e4
	if h := sec / 3600; h > 0 {
		return fmt.Sprintf("%s%d:%02d:%02d.%04d", sign, h, sec/60%60, sec%60, frac)
	}
	return fmt.Sprintf("%s%d:%02d.%04d", sign, sec/60, sec%60, frac)
}

// moment writes whole seconds as m:ss or h:mm:ss, for axes.
func moment(s float64) string {
	sec := int64(math.Round(math.Max(0, s)))
	if h := sec / 3600; h > 0 {
		return fmt.Sprintf("%d:%02d:%02d", h, sec/60%60, sec%60)
	}
	return fmt.Sprintf("%d:%02d", sec/60, sec%60)
}

// ppm writes a clock's drift, given in parts per million.
func ppm(drift float64) string { return signed(drift) + " ppm" }

// signed writes v with its sign and one decimal; -0.0 becomes +0.0.
func signed(v float64) string {
	if math.Abs(v) < 0.05 {
		v = 0
	}
	return fmt.Sprintf("%+.1f", v)
}

// lateness says in words where the good sound lies: ms > 0 is late, heard
// after the scratch. Under 0.05 ms there is nothing to say.
func lateness(ms float64) string {
	switch {
	case math.Abs(ms) < 0.05:
		return "right on"
	case ms > 0:
		return millis(ms) + " late"
	default:
		return millis(-ms) + " early"
	}
}

// millis writes a length in milliseconds with no more digits than help.
func millis(ms float64) string {
	switch a := math.Abs(ms); {
	case a >= 100:
		return fmt.Sprintf("%.0f ms", ms)
	case a >= 1:
		return fmt.Sprintf("%.1f ms", ms)
	case a >= 0.01:
		return fmt.Sprintf("%.2f ms", ms)
	}
	return "under 0.01 ms"
}

// atMost writes the largest of several lengths in milliseconds.
func atMost(ms float64) string {
	if ms < 0.01 {
		return millis(ms)
	}
	return "at most " + millis(ms)
}

// size writes a size in decimal units.
func size(n int64) string {
	switch {
	case n >= 1e9:
		return fmt.Sprintf("%.1f GB", float64(n)/1e9)
	case n >= 1e6:
		return fmt.Sprintf("%.0f MB", float64(n)/1e6)
	case n >= 1e3:
		return fmt.Sprintf("%.0f kB", float64(n)/1e3)
	}
	return fmt.Sprintf("%d bytes", n)
}

// left says how long something will still take, in steps a person reads at a
// glance: to five seconds under a minute, then to half minutes, then minutes.
func left(d time.Duration) string {
	switch {
	case d < 5*time.Second:
		return "a few seconds left"
	case d < 55*time.Second:
		return fmt.Sprintf("about %d s left", int(d.Round(5*time.Second)/time.Second))
	case d < 10*time.Minute:
		d = d.Round(30 * time.Second)
		if d%time.Minute != 0 {
			return fmt.Sprintf("about %d½ min left", int(d/time.Minute))
		}
		return fmt.Sprintf("about %d min left", int(d/time.Minute))
	case d < time.Hour:
		return fmt.Sprintf("about %d min left", int(d.Round(time.Minute)/time.Minute))
	}
	d = d.Round(5 * time.Minute)
	return fmt.Sprintf("about %d h %02d min left", int(d/time.Hour), int(d%time.Hour/time.Minute))
}

// count writes "1 clip" or "3 clips".
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
