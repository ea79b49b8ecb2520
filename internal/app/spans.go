package app

import (
	"fmt"
	"math"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/shoot"
)

// spansOf lists the parts of a take with their lines: one, unless the recorder
// lost sound or its clock bends.
func spansOf(f *align.Found) []shoot.Span {
	if len(f.Spans) == 0 {
		return []shoot.Span{{Clip: [2]float64{f.From, f.To}, Offset: f.Offset, Drift: f.Drift * 1e6}}
	}
	out := make([]shoot.Span, len(f.Spans))
	for i, s := range f.Spans {
		out[i] = shoot.Span{Clip: [2]float64{s.From, s.To}, Offset: s.Offset, Drift: s.Drift * 1e6}
	}
	return out
}

// firstLine is the line that a take's offset and drift are told from.
func firstLine(f *align.Found) align.Alignment {
	if len(f.Spans) > 0 {
		return f.Spans[0].Alignment
	}
	return f.Alignment
}

// spansWhy says what the recorder did, in the clip's time.
func spansWhy(f *align.Found) (why []string) {
	bends := 0
	for i, s := range f.Spans {
		switch {
		case i > 0 && s.Lost > 0:
			why = append(why, fmt.Sprintf("the recorder lost %s at %s%s", milliseconds(s.Lost), clockTime(f.Spans[i-1].To), orWalked(s.Lost)))
		case i > 0 && s.Lost < 0:
			why = append(why, fmt.Sprintf("the recorder repeated %s at %s, or the camera lost as much%s", milliseconds(s.Lost), clockTime(s.From), orWalked(s.Lost)))
		case i > 0:
			bends++
		}
	}
	if n := len(why); n > 0 {
		why = append(why, "in a pause any place of it is as good for the cut")
	}
	if bends > 0 {
		why = append(why, fmt.Sprintf("the clocks drift by %+.1f ppm at the beginning and %+.1f ppm at the end; %d lines follow the bend",
			f.Spans[0].Drift*1e6, f.Spans[len(f.Spans)-1].Drift*1e6, bends+f.Losses()+1))
	}
	return why
}

// orWalked says what else may have happened where little was lost: a talker who
// walks away from the camera makes the sound later there, as much as a loss does.
func orWalked(lost float64) string {
	const far = 0.03 // seconds: 10 m, from one end of a room to the other
	metres := math.Abs(lost) * dsp.SpeedOfSound(20)
	switch {
	case math.Abs(lost) > far:
		return ""
	case lost > 0:
		return fmt.Sprintf(", or the talker moved %.1f m away from the camera", metres)
	}
	return fmt.Sprintf(", or the talker came %.1f m nearer to the camera", metres)
}

// milliseconds is a length of time in words, without its sign.
func milliseconds(s float64) string {
	ms := math.Abs(s) * 1e3
	if ms < 10 {
		return fmt.Sprintf("%.1f ms", ms)
	}
	return fmt.Sprintf("%.0f ms", ms)
}

// clockTime is a place in a clip as minutes and seconds.
func clockTime(s float64) string {
	tenths := int(math.Round(math.Max(0, s) * 10))
	return fmt.Sprintf("%d:%02d.%d", tenths/600, tenths/10%60, tenths%10)
}

// judgeSpans looks at every part of a finished clip that lies along a line of
// its own: a jump that was not mended may touch few of the windows.
func (p *Proof) judgeSpans(f *align.Found, shift, frame float64) {
	const short = 1.0 // seconds
	for _, s := range f.Spans {
		mid := (s.From + s.To) / 2
		late := (s.Sound(mid) - mid + shift) * 1e3
		if s.Lost != 0 {
			p.Why = append(p.Why, fmt.Sprintf("the good sound jumps by %s at %s", milliseconds(s.Lost), clockTime(s.From)))
		}
		if s.To-s.From >= short && math.Abs(late) > frame/2*1e3 && p.State != OutOfSync {
			p.State = OutOfSync
			p.Why = append(p.Why, fmt.Sprintf("the good sound is %s from %s to %s", earlyOrLate(late), clockTime(s.From), clockTime(s.To)))
		}
	}
}
