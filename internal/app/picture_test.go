package app

import (
	"testing"

	"earshot/internal/frame"
	"earshot/internal/media"
)

// Labels after SMPTE ST 12-1: 1800 frames after 00:00:00;00 at 29.97 come
// 00:01:00;02, since two numbers are dropped.
func TestPictureWords(t *testing.T) {
	ntsc := media.Picture{Width: 1920, Height: 1080, Rate: frame.Rate{Num: 30000, Den: 1001}, Duration: 60.06 + 1001.0/30000}
	for _, tt := range []struct {
		name string
		info media.Info
		want string
	}{
		{"sound", media.Info{}, ""},
		{"no timecode", media.Info{Pictures: []media.Picture{{Width: 480, Height: 270, Rate: frame.Rate{Num: 25, Den: 1}, Duration: 2}}}, "480x270, 25 fps, 50 frames"},
		{"drop-frame", media.Info{Pictures: []media.Picture{ntsc}, Timecode: "00:00:00;00"}, "1920x1080, 29.97 fps, 1801 frames, 00:00:00;00 to 00:01:00;02"},
		{"a label that cannot be", media.Info{Pictures: []media.Picture{ntsc}, Timecode: "00:01:00;00"}, "1920x1080, 29.97 fps, 1801 frames"},
		{"variable rate", media.Info{Pictures: []media.Picture{{Width: 640, Height: 480, Duration: 2}}}, "640x480, frame rate unknown"},
	} {
		if got := pictureWords(tt.info); got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}
