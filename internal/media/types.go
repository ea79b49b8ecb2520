package media

import "fmt"

// TypeOf returns the MIME type of a clip for asking a browser whether it plays
// its picture, with the codec as far as info tells it, such as
//
//	video/mp4; codecs="avc1.640028"
//
// and "" for a sound and for containers that no browser takes. The codec named
// is the first picture's alone: whoever asks plays the picture and hears the
// sound from elsewhere. The forms are those of RFC 6381, for H.264 and HEVC as
// ISO/IEC 14496-15, annex E has them.
func TypeOf(info Info) string {
	if !info.HasPicture() {
		return ""
	}
	p := info.Pictures[0]
	codec := codecOf(p)
	var kind string
	switch info.Container {
	case "mp4":
		kind = "video/mp4"
	case "mov":
		if kind = "video/mp4"; p.Codec != "h264" && p.Codec != "hevc" {
			return "video/quicktime" // what is made for editing, which few browsers take
		}
	case "3gp":
		kind = "video/3gpp"
	case "ogg":
		kind = "video/ogg"
	case "mkv":
		switch p.Codec {
		case "vp8", "vp9":
			return `video/webm; codecs="` + p.Codec + `"`
		case "av1":
			return "video/webm"
		}
		kind = "video/x-matroska"
	default:
		return ""
	}
	if codec == "" {
		return kind
	}
	return kind + `; codecs="` + codec + `"`
}

// avcProfiles gives H.264's profiles by the engine's names: profile_idc and the
// constraint flags that the name stands for (Rec. ITU-T H.264, A.2).
var avcProfiles = map[string]int{
	"Baseline": 0x4200, "Constrained Baseline": 0x4240, "Main": 0x4d00, "Extended": 0x5800, "High": 0x6400,
	"High 10": 0x6e00, "High 10 Intra": 0x6e10, "High 4:2:2": 0x7a00, "High 4:2:2 Intra": 0x7a10,
	"High 4:4:4 Predictive": 0xf400, "High 4:4:4 Intra": 0xf410, "CAVLC 4:4:4": 0x2c10,
}

// hevcProfiles gives HEVC's profiles by the engine's names: general_profile_idc
// and the compatibility flags, bits reversed (Rec. ITU-T H.265, A.3).
var hevcProfiles = map[string]string{"Main": "1.6", "Main 10": "2.4"}

// codecOf names a picture's codec; "" when info does not tell enough.
func codecOf(p Picture) string {
	switch p.Codec {
	case "h264":
		profile, ok := avcProfiles[p.Profile]
		if ok && p.Level >= 9 && p.Level <= 62 {
			return fmt.Sprintf("avc1.%04x%02x", profile, p.Level)
		}
	case "hevc":
		// The tier stands nowhere in info. It bounds the data rate only, so the
		// main tier, which is as good as all there is, is asked for.
		profile, ok := hevcProfiles[p.Profile]
		if ok && p.Level >= 30 && p.Level <= 186 {
			return fmt.Sprintf("hvc1.%s.L%d", profile, p.Level)
		}
	}
	return ""
}
