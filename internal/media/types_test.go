package media

import "testing"

// RFC 6381, 3.3 has avc1.42E01E for a constrained baseline at level 3; the other
// forms follow ISO/IEC 14496-15, E.3: profile, compatibility flags and level in
// hexadecimal for H.264, hvc1.1.6.L93 for HEVC's main profile at level 3.1.
func TestTypeOf(t *testing.T) {
	for _, tt := range []struct {
		container, codec, profile string
		level                     int
		want                      string
	}{
		{"mp4", "h264", "High", 40, `video/mp4; codecs="avc1.640028"`},
		{"mov", "h264", "Constrained Baseline", 30, `video/mp4; codecs="avc1.42401e"`},
		{"mp4", "h264", "High 4:2:2", 51, `video/mp4; codecs="avc1.7a0033"`},
		{"mp4", "h264", "", 40, "video/mp4"},
		{"mp4", "h264", "High", 0, "video/mp4"},
		{"mp4", "hevc", "Main", 93, `video/mp4; codecs="hvc1.1.6.L93"`},
		{"mov", "hevc", "Main 10", 150, `video/mp4; codecs="hvc1.2.4.L150"`},
		{"mov", "hevc", "Rext", 150, "video/mp4"},
		{"mov", "prores", "", 0, "video/quicktime"},
		{"mp4", "av1", "", 0, "video/mp4"},
		{"3gp", "h263", "", 0, "video/3gpp"},
		{"mkv", "h264", "Main", 31, `video/x-matroska; codecs="avc1.4d001f"`},
		{"mkv", "vp9", "", 0, `video/webm; codecs="vp9"`},
		{"mkv", "av1", "", 0, "video/webm"},
		{"ogg", "theora", "", 0, "video/ogg"},
		{"mpegts", "h264", "High", 40, ""},
		{"avi", "mjpeg", "", 0, ""},
	} {
		info := Info{Container: tt.container, Pictures: []Picture{{Codec: tt.codec, Profile: tt.profile, Level: tt.level}}}
		if got := TypeOf(info); got != tt.want {
			t.Errorf("%s in %s, profile %q, level %d: %s, want %s", tt.codec, tt.container, tt.profile, tt.level, got, tt.want)
		}
	}
	if got := TypeOf(Info{Container: "mp4", Sounds: []Sound{{Codec: "aac"}}}); got != "" {
		t.Errorf("a sound is %s", got)
	}
}
