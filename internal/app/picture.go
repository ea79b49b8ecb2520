package app

import (
	"fmt"

	"earshot/internal/frame"
	"earshot/internal/media"
)

// pictureWords says in one line what a clip's picture is: rate, frames, and
// the timecode of its first and last frame where it has one.
func pictureWords(info media.Info) string {
	if len(info.Pictures) == 0 {
		return ""
	}
	p := info.Pictures[0]
	if !p.Rate.Known() {
		return fmt.Sprintf("%dx%d, frame rate unknown", p.Width, p.Height)
	}
	n := p.Rate.Nearest(p.Duration)
	words := fmt.Sprintf("%dx%d, %s fps, %d frames", p.Width, p.Height, p.Rate, n)
	if first := timecodeAt(info, p.Start); first != "" && n > 0 {
		words += fmt.Sprintf(", %s to %s", first, timecodeAt(info, p.Start+p.Rate.Time(n-1)))
	}
	return words
}

// timecodeAt is the timecode of the frame that shows at clip time t, "" when
// the clip has none.
func timecodeAt(info media.Info, t float64) string {
	if info.Timecode == "" || len(info.Pictures) == 0 {
		return ""
	}
	p := info.Pictures[0]
	start, err := frame.ParseTimecode(info.Timecode, p.Rate)
	if err != nil {
		return ""
	}
	return start.Add(p.Rate.Nearest(t - p.Start)).String()
}
