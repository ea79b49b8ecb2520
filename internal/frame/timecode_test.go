package frame

import (
	"fmt"
	"math"
	"testing"
)

var (
	film24 = Rate{24000, 1001}
	ntsc30 = Rate{30000, 1001}
	ntsc60 = Rate{60000, 1001}
)

// 29.97: the drop-frame column was counted with libltc 1.3 over a full day and
// agrees with npm smpte-timecode 1.3.6 and OpenTimelineIO 0.18.1; non-drop
// labels and seconds are arithmetic from 30000/1001.
func TestTimecode2997(t *testing.T) {
	for _, tt := range []struct {
		frame     Count
		drop, non string
		seconds   float64
	}{
		{0, "00:00:00;00", "00:00:00:00", 0.000000},
		{1799, "00:00:59;29", "00:00:59:29", 60.026633},
		{1800, "00:01:00;02", "00:01:00:00", 60.060000},
		{3597, "00:01:59;29", "00:01:59:27", 120.019900},
		{3598, "00:02:00;02", "00:01:59:28", 120.053267},
		{17981, "00:09:59;29", "00:09:59:11", 599.966033},
		{17982, "00:10:00;00", "00:09:59:12", 599.999400},
		{19781, "00:10:59;29", "00:10:59:11", 660.026033},
		{19782, "00:11:00;02", "00:10:59:12", 660.059400},
		{53946, "00:30:00;00", "00:29:58:06", 1799.998200},
		{107892, "01:00:00;00", "00:59:56:12", 3599.996400},
		{1294704, "12:00:00;00", "11:59:16:24", 43199.956800},
		{2589407, "23:59:59;29", "23:58:33:17", 86399.880233},
		{2589408, "00:00:00;00", "23:58:33:18", 86399.913600},
	} {
		checkLabel(t, ntsc30, true, tt.frame, tt.drop)
		checkLabel(t, ntsc30, false, tt.frame, tt.non)
		if got := ntsc30.Time(tt.frame); math.Abs(got-tt.seconds) > 0.6e-6 {
			t.Errorf("frame %d at %.6f s, want %.6f", tt.frame, got, tt.seconds)
		}
	}
}

// 59.94 drop-frame: npm smpte-timecode 1.3.6 (OpenTimelineIO too for 3600);
// frames 39564 and 5178816 are arithmetic.
func TestTimecode5994(t *testing.T) {
	for frame, label := range map[Count]string{
		3599: "00:00:59;59", 3600: "00:01:00;04", 7196: "00:02:00;04", 35964: "00:10:00;00",
		39564: "00:11:00;04", 215784: "01:00:00;00", 5178815: "23:59:59;59", 5178816: "00:00:00;00",
	} {
		checkLabel(t, ntsc60, true, frame, label)
	}
}

// 23.976: arithmetic from 24000/1001.
func TestTimecode23976(t *testing.T) {
	for _, tt := range []struct {
		label   string
		frame   Count
		seconds float64
	}{
		{"00:01:00:00", 1440, 60.06}, {"01:00:00:00", 86400, 3603.6},
	} {
		checkLabel(t, film24, false, tt.frame, tt.label)
		tc, err := ParseTimecode(tt.label, film24)
		if err != nil || tc.Seconds() != tt.seconds {
			t.Errorf("%s is at %g s, %v; want %g", tt.label, tc.Seconds(), err, tt.seconds)
		}
	}
	if got := film24.Sample(86400, 48000); got != 172972800 {
		t.Errorf("01:00:00:00 at 48 kHz is sample %d, want 172972800", got)
	}
	if _, err := NewTimecode(film24, true, 0); err == nil {
		t.Error("drop-frame at 23.976 accepted")
	}
}

func checkLabel(t *testing.T, r Rate, drop bool, frame Count, label string) {
	t.Helper()
	tc, err := NewTimecode(r, drop, frame)
	if err != nil {
		t.Fatal(err)
	}
	if tc.String() != label {
		t.Errorf("%s frame %d is %s, want %s", r, frame, tc, label)
	}
	back, err := ParseTimecode(label, r)
	if err != nil || back.Frame() != frame%tc.Day() || back.Drop() != drop {
		t.Errorf("%s read back is frame %d (drop %v), %v; want %d", label, back.Frame(), back.Drop(), err, frame%tc.Day())
	}
}

// Frames in a day and its true length: 108 labels an hour are skipped at
// 29.97; the label day at 23.976 is 86.4 s longer than the clock's.
func TestTimecodeDay(t *testing.T) {
	for _, tt := range []struct {
		rate    Rate
		drop    bool
		frames  Count
		seconds float64
	}{
		{film24, false, 2073600, 86486.4}, {Rate{24, 1}, false, 2073600, 86400}, {Rate{25, 1}, false, 2160000, 86400},
		{ntsc30, true, 2589408, 86399.9136}, {Rate{30, 1}, false, 2592000, 86400}, {Rate{50, 1}, false, 4320000, 86400},
		{ntsc60, true, 5178816, 86399.9136}, {ntsc30, false, 2592000, 86486.4},
	} {
		tc, err := NewTimecode(tt.rate, tt.drop, 0)
		if err != nil {
			t.Fatal(err)
		}
		if tc.Day() != tt.frames || tt.rate.Time(tc.Day()) != tt.seconds {
			t.Errorf("%s drop %v: %d frames in %g s, want %d in %g", tt.rate, tt.drop,
				tc.Day(), tt.rate.Time(tc.Day()), tt.frames, tt.seconds)
		}
	}
}

// Every label of a drop-frame day against a counter that knows only the rule
// of SMPTE ST 12-1: no 00 and 01 (00 to 03, 00 to 07) in minutes not divisible
// by ten.
func TestTimecodeWholeDay(t *testing.T) {
	for _, tt := range []struct {
		rate         Rate
		labels, skip int
		step         int // frames between two looks
	}{{ntsc30, 30, 2, 1}, {ntsc60, 60, 4, 7}, {Rate{120000, 1001}, 120, 8, 61}} {
		n := Count(0)
		for minute := range 24 * 60 {
			for second := range 60 {
				for ff := range tt.labels {
					if minute%10 != 0 && second == 0 && ff < tt.skip {
						continue
					}
					if n%Count(tt.step) == 0 {
						want := fmt.Sprintf("%02d:%02d:%02d;%0*d", minute/60, minute%60, second, frameDigits(tt.labels), ff)
						if got := (Timecode{tt.rate, true, n}).String(); got != want {
							t.Fatalf("%s frame %d is %s, want %s", tt.rate, n, got, want)
						}
					}
					n++
				}
			}
		}
		if day := (Timecode{tt.rate, true, 0}).Day(); day != n {
			t.Errorf("%s: a day of %d frames, want %d", tt.rate, day, n)
		}
	}
}

func TestParseTimecodeRefuses(t *testing.T) {
	for _, tt := range []struct {
		label string
		rate  Rate
	}{
		{"00:01:00;00", ntsc30}, {"00:01:00;01", ntsc30}, {"00:59:00;01", ntsc30}, {"00:01:00;03", ntsc60},
		{"00:00:00;00", Rate{25, 1}}, {"00:00:00;00", Rate{30, 1}}, {"00:00:00;00", film24}, {"00:00:00:00", Rate{}},
		{"24:00:00:00", ntsc30}, {"00:60:00:00", ntsc30}, {"00:00:60:00", ntsc30}, {"00:00:00:30", ntsc30},
		{"00:00:00:25", Rate{25, 1}}, {"", ntsc30}, {"0:00:00:00", ntsc30}, {"00:00:00:0", ntsc30}, {"00:00:00:000", ntsc30},
		{"00:00:00:00:00", ntsc30}, {"00;00:00:00", ntsc30}, {"00.00.00.00", ntsc30}, {"-1:00:00:00", ntsc30},
		{"00:00:00:+1", ntsc30}, {" 0:00:00:00", ntsc30}, {"00:00:00:0\x00", ntsc30}, {"00:00:0٢:00", ntsc30},
	} {
		if got, err := ParseTimecode(tt.label, tt.rate); err == nil {
			t.Errorf("ParseTimecode(%q, %s) = %s, want an error", tt.label, tt.rate, got)
		}
	}
	for _, label := range []string{"00:10:00;00", "01:00:00;00", "00:01:00;02", "00:01:01;00", "00:01:00:00"} {
		if _, err := ParseTimecode(label, ntsc30); err != nil {
			t.Errorf("%s refused: %v", label, err)
		}
	}
	if tc, err := ParseTimecode("00:00:01:119", Rate{120, 1}); err != nil || tc.Frame() != 239 || tc.String() != "00:00:01:119" {
		t.Errorf("three digits at 120: frame %d, %s, %v", tc.Frame(), tc, err)
	}
}

func TestTimecodeMidnight(t *testing.T) {
	parse := func(s string) Timecode {
		tc, err := ParseTimecode(s, ntsc30)
		if err != nil {
			t.Fatal(err)
		}
		return tc
	}
	last := parse("23:59:59;29")
	if got := last.Add(2).String(); got != "00:00:00;01" {
		t.Errorf("two frames after the last label is %s, want 00:00:00;01", got)
	}
	if got := parse("00:00:00;00").Add(-1); got != last {
		t.Errorf("a frame before midnight is %s", got)
	}
	if got := last.Add(math.MinInt64).Add(math.MaxInt64).Add(1); got != last {
		t.Errorf("there and back is %s", got)
	}
	for _, tt := range []struct {
		from, to string
		want     Count
	}{
		{"23:59:59;29", "00:00:00;01", 2}, {"00:00:00;01", "23:59:59;29", -2}, {"00:00:00;00", "12:00:00;00", 1294704},
		{"12:00:00;00", "00:00:00;00", 1294704}, {"12:00:00;01", "00:00:00;00", 1294703},
		{"00:00:00;00", "12:00:00;01", -1294703}, {"06:00:00;00", "06:00:00;00", 0},
	} {
		got, err := parse(tt.to).Sub(parse(tt.from))
		if err != nil || got != tt.want {
			t.Errorf("%s to %s is %d frames, %v; want %d", tt.from, tt.to, got, err, tt.want)
		}
	}
	if _, err := last.Sub(parse("00:00:00:00")); err == nil {
		t.Error("drop-frame minus non-drop accepted")
	}
	if _, err := (Timecode{}).Sub(Timecode{}); err == nil || (Timecode{}).String() != "" || (Timecode{}).Add(5) != (Timecode{}) {
		t.Error("the zero value acts as a timecode")
	}
	if tc, err := NewTimecode(ntsc30, false, math.MinInt64); err != nil || tc.Frame() < 0 || tc.Frame() >= tc.Day() {
		t.Errorf("far before zero: frame %d, %v", tc.Frame(), err)
	}
}

func FuzzTimecode(f *testing.F) {
	f.Add("00:01:00;02", 30000, 1001)
	f.Add("23:59:59:23", 24000, 1001)
	f.Add("00:00:00;00", 60000, 1001)
	f.Add("00:00:01:119", 120, 1)
	f.Fuzz(func(t *testing.T, label string, num, den int) {
		tc, err := ParseTimecode(label, Rate{num, den})
		if err != nil {
			return
		}
		if tc.String() != label {
			t.Errorf("%q at %d/%d reads as %s", label, num, den, tc)
		}
		if tc.Frame() < 0 || tc.Frame() >= tc.Day() {
			t.Errorf("%q is frame %d of %d", label, tc.Frame(), tc.Day())
		}
		next := tc.Add(1)
		back, err := ParseTimecode(next.String(), Rate{num, den})
		if err != nil || back != next {
			t.Errorf("the label after %q is %s, which reads as %s, %v", label, next, back, err)
		}
	})
}
