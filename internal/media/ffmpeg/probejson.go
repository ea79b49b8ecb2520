package ffmpeg

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"earshot/internal/frame"
	"earshot/internal/media"
)

// What ffprobe -of json writes, as far as it is of use. Numbers in quotes are
// how ffprobe writes them.
type probeDoc struct {
	Streams []probeStream `json:"streams"`
	Format  struct {
		Name     string            `json:"format_name"`
		Start    string            `json:"start_time"`
		Duration string            `json:"duration"`
		Tags     map[string]string `json:"tags"`
	} `json:"format"`
}

type probeStream struct {
	Index       int               `json:"index"`
	Codec       string            `json:"codec_name"`
	Profile     string            `json:"profile"`
	Level       int               `json:"level"`
	Type        string            `json:"codec_type"`
	Tag         string            `json:"codec_tag_string"`
	Width       int               `json:"width"`
	Height      int               `json:"height"`
	Reorder     int               `json:"has_b_frames"`
	RealRate    string            `json:"r_frame_rate"`
	MeanRate    string            `json:"avg_frame_rate"`
	SampleRate  string            `json:"sample_rate"`
	Channels    int               `json:"channels"`
	Bits        int               `json:"bits_per_sample"`
	RawBits     string            `json:"bits_per_raw_sample"`
	Start       string            `json:"start_time"`
	Duration    string            `json:"duration"`
	Frames      string            `json:"nb_frames"`
	Disposition map[string]int    `json:"disposition"`
	Tags        map[string]string `json:"tags"`
	SideData    []struct {
		Type     string  `json:"side_data_type"`
		Rotation float64 `json:"rotation"`
	} `json:"side_data_list"`
}

// readProbe turns ffprobe's JSON into an Info. A file without picture and
// sound is an error.
func readProbe(data []byte) (media.Info, error) {
	var doc probeDoc
	if err := json.Unmarshal(data, &doc); err != nil {
		return media.Info{}, fmt.Errorf("the media engine's description makes no sense: %w", err)
	}
	tags := lowerKeys(doc.Format.Tags)
	info := media.Info{Container: container(doc.Format.Name, tags), Tags: tags}
	for _, s := range doc.Streams {
		addStream(&info, s)
	}
	if len(info.Pictures) == 0 && len(info.Sounds) == 0 {
		return media.Info{}, errors.New("it holds neither moving pictures nor sound")
	}
	placeZero(&info, seconds(doc.Format.Start), seconds(doc.Format.Duration))
	info.Created = created(tags)
	info.Timecode = timecode(doc, tags)
	return info, nil
}

// addStream sorts one stream into info; its times are still container times.
func addStream(info *media.Info, s probeStream) {
	start, duration := seconds(s.Start), seconds(s.Duration)
	switch {
	case s.Type == "video" && !isStill(s) && s.Width > 0 && s.Height > 0 && known(s.Codec):
		info.Pictures = append(info.Pictures, media.Picture{
			Stream: s.Index, Codec: s.Codec, Profile: profile(s.Codec, s.Profile), Level: max(0, s.Level), Width: s.Width, Height: s.Height,
			Rotation: rotation(s), Rate: rate(s.RealRate, s.MeanRate), Start: start, Duration: duration, Reordered: s.Reorder > 0,
		})
	case s.Type == "audio" && s.Channels > 0 && audible(whole(s.SampleRate)) && known(s.Codec):
		info.Sounds = append(info.Sounds, media.Sound{
			Stream: s.Index, Codec: s.Codec, Rate: whole(s.SampleRate), Channels: s.Channels, Bits: bits(s),
			Start: start, Duration: duration, Title: title(s), Default: s.Disposition["default"] == 1,
		})
	default:
		o := media.Other{Stream: s.Index, Kind: "data", Codec: s.Codec}
		if !known(s.Codec) || s.Codec == "bin_data" {
			o.Codec = strings.TrimSpace(s.Tag)
		}
		switch {
		case s.Tag == "tmcd":
			o.Kind = "timecode"
		case s.Type == "subtitle":
			o.Kind = "subtitle"
		case s.Type == "video" && isStill(s):
			o.Kind = "still"
		case s.Type == "video" || s.Type == "audio":
			info.Warnings = append(info.Warnings, fmt.Sprintf("%s stream %d cannot be understood and is left out", pictureOrSound(s.Type), s.Index))
		}
		info.Others = append(info.Others, o)
	}
}

// profiles are the names of profiles by the numbers that an engine without names
// gives: profile_idc, and FFmpeg's bits for what the constraint flags add (avcodec.h,
// FF_PROFILE_H264_CONSTRAINED and FF_PROFILE_H264_INTRA).
var profiles = map[string]map[string]string{
	"h264": {"66": "Baseline", "578": "Constrained Baseline", "77": "Main", "88": "Extended", "100": "High",
		"110": "High 10", "2158": "High 10 Intra", "122": "High 4:2:2", "2170": "High 4:2:2 Intra",
		"244": "High 4:4:4 Predictive", "2292": "High 4:4:4 Intra", "44": "CAVLC 4:4:4"},
	"hevc": {"1": "Main", "2": "Main 10", "3": "Main Still Picture", "4": "Rext"},
}

// profile names a codec's profile; "" for codecs whose profiles are of no use.
func profile(codec, s string) string {
	names, ok := profiles[codec]
	if !ok || s == "unknown" {
		return ""
	}
	if name, ok := names[s]; ok {
		return name
	}
	return s
}

func pictureOrSound(kind string) string {
	if kind == "video" {
		return "picture"
	}
	return "sound"
}

// audible tells whether a rate in Hz is one that sound is recorded at. What
// lies beyond is a damaged header, and would cost memory or time without end.
func audible(rate int) bool { return rate >= 1000 && rate <= 3072000 }

func known(codec string) bool { return codec != "" && codec != "unknown" && codec != "none" }

// isStill tells cover art and thumbnails from moving pictures.
func isStill(s probeStream) bool {
	d := s.Disposition
	if d["attached_pic"] == 1 || d["timed_thumbnails"] == 1 || d["still_image"] == 1 {
		return true
	}
	return s.Frames == "1" && slices.Contains([]string{"mjpeg", "png", "bmp", "gif", "webp"}, s.Codec)
}

// movies are the containers with a movie timeline of their own.
var movies = []string{"mov", "mp4", "m4a", "3gp"}

// placeZero finds the file's zero in container time (see package media) and
// makes all times count from it.
func placeZero(info *media.Info, start, duration float64) {
	end := start + duration
	for i := range info.Sounds {
		s := &info.Sounds[i]
		s.Delay = delay(*info, *s)
		if info.Container == "mkv" && s.Codec == "opus" {
			s.Start = opusStart(s.Start)
		}
	}
	switch {
	case slices.Contains(movies, info.Container):
		info.Zero = gaplessStart(*info)
	case info.HasPicture():
		info.Zero = info.Pictures[0].Start
	default:
		info.Zero = math.Inf(1)
		for _, s := range info.Sounds {
			info.Zero = min(info.Zero, s.Start+float64(s.Delay)/float64(s.Rate))
		}
	}
	for i := range info.Pictures {
		p := &info.Pictures[i]
		p.Start -= info.Zero
		info.Duration = max(info.Duration, p.Start+p.Duration)
	}
	for i := range info.Sounds {
		s := &info.Sounds[i]
		cut := float64(s.Delay) / float64(s.Rate)
		s.Start += cut - info.Zero
		s.Duration = max(0, s.Duration-cut)
		info.Duration = max(info.Duration, s.Start+s.Duration)
	}
	fillDurations(info, end-info.Zero)
}

// fillDurations gives streams without a duration of their own the file's.
func fillDurations(info *media.Info, whole float64) {
	if info.Duration == 0 && whole > 0 {
		info.Duration = whole
	}
	for i := range info.Pictures {
		if p := &info.Pictures[i]; p.Duration == 0 {
			p.Duration = max(0, info.Duration-p.Start)
		}
	}
	for i := range info.Sounds {
		if s := &info.Sounds[i]; s.Duration == 0 {
			s.Duration = max(0, info.Duration-s.Start)
		}
	}
}

// Encoder delays that no container told the decoder about, in samples. What
// engines do was measured (TestClick); the figures are LAME's 576 + 529 and
// the 1024 of common AAC encoders.
const (
	mp3Delay = 1105
	aacDelay = 1024
)

// delay returns how many samples of encoder delay the decoder leaves in.
func delay(info media.Info, s media.Sound) int {
	switch {
	case info.Container == "mp3" && s.Codec == "mp3" && s.Start == 0:
		return mp3Delay // with an Info tag the stream starts at the delay
	case info.Container == "aac" && s.Codec == "aac":
		return aacDelay
	case info.Container == "mkv" && s.Codec == "aac" && !info.HasPicture() && s.Start == 0:
		return aacDelay
	}
	return 0
}

// gaplessStart returns the zero of a movie file in container time. It is 0 but
// for sound whose priming stands in an iTunSMPB tag and in no edit list: there
// the engine cuts the priming and starts the stream after it.
func gaplessStart(info media.Info) float64 {
	f := strings.Fields(info.Tags["itunsmpb"])
	if info.HasPicture() || len(info.Sounds) != 1 || len(f) < 2 {
		return 0
	}
	priming, err := strconv.ParseUint(f[1], 16, 16)
	s := info.Sounds[0]
	if err != nil || math.Abs(s.Start*float64(s.Rate)-float64(priming)) > 1 {
		return 0
	}
	return s.Start
}

// opusStart returns when Opus in Matroska is first heard. The engine gives the
// start of the pre-skip, which it cuts: 312 samples of 48 kHz from libopus
// (RFC 7845, 4.2 leaves the number to the encoder). Matroska counts
// milliseconds, so less than one is none.
func opusStart(start float64) float64 {
	if start += 312.0 / 48000; math.Abs(start) < 0.001 {
		return 0
	}
	return start
}

// container gives the demuxer's name a short one.
func container(name string, tags map[string]string) string {
	first, _, _ := strings.Cut(name, ",")
	switch first {
	case "mov":
		brand := strings.ToLower(tags["major_brand"])
		switch {
		case brand == "" || strings.HasPrefix(brand, "qt"):
			return "mov"
		case strings.HasPrefix(brand, "m4a"), strings.HasPrefix(brand, "m4b"):
			return "m4a"
		case strings.HasPrefix(brand, "3g"):
			return "3gp"
		}
		return "mp4"
	case "matroska":
		return "mkv"
	case "amrnb", "amrwb":
		return "amr"
	case "asf":
		return "wmv"
	}
	return first
}

// seconds reads a time as ffprobe writes it; 0 when absent or senseless.
func seconds(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(v) || math.Abs(v) > 1e9 {
		return 0
	}
	return v
}

func whole(s string) int {
	v, err := strconv.Atoi(s)
	if err != nil || v < 0 {
		return 0
	}
	return v
}

func bits(s probeStream) int {
	if n := whole(s.RawBits); n > 0 {
		return n
	}
	return s.Bits
}

func title(s probeStream) string {
	for _, key := range []string{"title", "name", "handler_name"} {
		if t := strings.TrimSpace(s.Tags[key]); t != "" {
			return t
		}
	}
	return ""
}

// rotation reads the display matrix, which ffprobe gives as degrees counter-
// clockwise, or the older tag, which counts clockwise.
func rotation(s probeStream) int {
	for _, d := range s.SideData {
		if d.Type == "Display Matrix" {
			return quarter(-d.Rotation)
		}
	}
	return quarter(seconds(s.Tags["rotate"]))
}

// quarter rounds degrees to the nearest quarter turn in 0..270.
func quarter(degrees float64) int {
	q := int(math.Round(math.Mod(degrees, 360)/90)) % 4
	return (q + 4) % 4 * 90
}

// rate picks the frame rate: the nominal one when the average agrees with it
// within 0.05 %, the average otherwise.
func rate(nominal, mean string) frame.Rate {
	n, m := fraction(nominal), fraction(mean)
	if m.Den == 0 {
		return n
	}
	if n.Den != 0 && math.Abs(n.Float()/m.Float()-1) < 0.0005 {
		return n
	}
	return m
}

// fraction reads "30000/1001" in lowest terms; the zero Rate when senseless.
func fraction(s string) frame.Rate {
	a, b, _ := strings.Cut(s, "/")
	num, den := whole(a), whole(b)
	if num == 0 || den == 0 {
		return frame.Rate{}
	}
	x, y := num, den
	for y != 0 {
		x, y = y, x%y
	}
	return frame.Rate{Num: num / x, Den: den / x}
}

func lowerKeys(in map[string]string) map[string]string {
	keys := make([]string, 0, len(in))
	for k := range in {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	out := make(map[string]string, len(in))
	for _, k := range keys {
		if _, taken := out[strings.ToLower(k)]; !taken {
			out[strings.ToLower(k)] = in[k]
		}
	}
	return out
}

// created reads the creation time: a full time stamp, or a sound recorder's
// date and time of day, which name no zone and are taken as UTC.
func created(tags map[string]string) time.Time {
	if t, err := time.Parse(time.RFC3339Nano, tags["creation_time"]); err == nil {
		return t.UTC()
	}
	for _, layout := range []string{"2006-01-02 15:04:05", "2006-01-02 15-04-05", "2006:01:02 15:04:05"} {
		if t, err := time.Parse(layout, tags["date"]+" "+tags["creation_time"]); err == nil {
			return t
		}
	}
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04:05-0700"} {
		for _, key := range []string{"com.apple.quicktime.creationdate", "date"} {
			if t, err := time.Parse(layout, tags[key]); err == nil {
				return t.UTC()
			}
		}
	}
	return time.Time{}
}

// timecode returns the start timecode: the picture's before anything else's.
func timecode(doc probeDoc, tags map[string]string) string {
	for _, want := range []string{"video", "data", "audio"} {
		for _, s := range doc.Streams {
			if s.Type == want && s.Tags["timecode"] != "" {
				return s.Tags["timecode"]
			}
		}
	}
	return tags["timecode"]
}
