package ffmpeg

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"earshot/internal/frame"
	"earshot/internal/media"
)

// golden compares got with a file of testdata/args; UPDATE=1 rewrites it.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", "args", name)
	if os.Getenv("UPDATE") != "" {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != strings.ReplaceAll(string(want), "\r\n", "\n") {
		t.Errorf("%s: arguments are now\n%s\nUPDATE=1 takes them as right", name, got)
	}
}

// lines writes arguments one to a line.
func lines(ws []word) string {
	return strings.Join(spell(ws, func(p string) string { return p }), "\n") + "\n"
}

// phone is a phone's clip with all that can be in one.
var phone = media.Info{
	Container: "mov", Duration: 20, Timecode: "10:00:00:00",
	Pictures: []media.Picture{{Stream: 0, Codec: "hevc", Width: 3840, Height: 2160, Rotation: 90, Rate: frame.Rate{Num: 30000, Den: 1001}}},
	Sounds:   []media.Sound{{Stream: 1, Codec: "aac", Rate: 44100, Channels: 1}},
	Others:   []media.Other{{Stream: 2, Kind: "data", Codec: "mebx"}, {Stream: 3, Kind: "timecode", Codec: "tmcd"}},
	Tags:     map[string]string{"com.apple.quicktime.make": "Maker", "major_brand": "qt  ", "make": "Maker"},
}

// camcorder is an AVCHD clip: time does not start at 0 and the sound cannot be
// copied into mp4 or mov.
var camcorder = media.Info{
	Container: "mpegts", Duration: 60, Zero: 1.433367,
	Pictures: []media.Picture{{Stream: 0, Codec: "h264", Width: 1920, Height: 1080, Rate: frame.Rate{Num: 25, Den: 1}}},
	Sounds:   []media.Sound{{Stream: 1, Codec: "pcm_bluray", Rate: 48000, Channels: 2, Bits: 24}, {Stream: 3, Codec: "ac3", Rate: 48000, Channels: 6}},
	Others:   []media.Other{{Stream: 2, Kind: "subtitle", Codec: "hdmv_pgs_subtitle"}},
	Tags:     map[string]string{"service_name": "x"},
}

// compact is an old compact camera's clip.
var compact = media.Info{
	Container: "avi", Duration: 30,
	Pictures: []media.Picture{{Stream: 0, Codec: "mjpeg", Width: 640, Height: 480, Rate: frame.Rate{Num: 30, Den: 1}}},
	Sounds:   []media.Sound{{Stream: 1, Codec: "pcm_u8", Rate: 11025, Channels: 1, Bits: 8}},
}

func TestRenderArguments(t *testing.T) {
	mov := media.Track{Codec: "pcm_s24le", Rate: 48000, Channels: 1, Title: "Good sound"}
	mp4 := media.Track{Codec: "aac", Rate: 48000, Channels: 2, Bitrate: 256000}
	for name, plan := range map[string]media.Plan{
		"render-phone-mov":     {Clip: "in/a.mov", Info: phone, Out: "out/a.mov", Container: "mov", Sound: mov, Scratch: true, Tags: map[string]string{"comment": "married"}},
		"render-phone-mp4":     {Clip: "in/a.mov", Info: phone, Out: "out/a.mp4", Container: "mp4", Sound: mp4},
		"render-compact-mov":   {Clip: "in/c.avi", Info: compact, Out: "out/c.mov", Container: "mov", Sound: mov, Scratch: true},
		"render-camcorder-mov": {Clip: "in/b.mts", Info: camcorder, Out: "out/b.mov", Container: "mov", Sound: mov, Scratch: true},
		"render-camcorder-mp4": {Clip: "in/b.mts", Info: camcorder, Out: "out/b.mp4", Container: "mp4", Sound: mp4, Scratch: true},
	} {
		ws, notes := renderWords(plan)
		golden(t, name, lines(ws)+"\nnotes:\n"+strings.Join(notes, "\n")+"\n")
	}
}

func TestDecodeArguments(t *testing.T) {
	wav := media.Info{Container: "wav", Sounds: []media.Sound{{Codec: "pcm_s24le", Rate: 48000, Channels: 2}}}
	mp3 := media.Info{Container: "mp3", Zero: 0.025057, Sounds: []media.Sound{{Codec: "mp3", Rate: 44100, Channels: 1, Delay: 1105}}}
	for name, tt := range map[string]struct {
		info  media.Info
		req   media.Decode
		extra []string
	}{
		"decode-whole":      {wav, media.Decode{Path: "-a.wav"}, nil},
		"decode-broken-wav": {wav, media.Decode{Path: "a.wav"}, []string{"-ignore_length", "1"}},
		"decode-window":     {wav, media.Decode{Path: "a.wav", From: 100.5, To: 101.25}, nil},
		"decode-mono":       {wav, media.Decode{Path: "a.wav", Rate: 16000, Mono: true}, nil},
		"decode-delay":      {mp3, media.Decode{Path: "a.mp3", From: 100.5, To: 101}, nil},
		"decode-camcorder":  {camcorder, media.Decode{Path: "b.mts", Stream: 1, From: 30, Mono: true}, nil},
	} {
		golden(t, name, lines(decodeWords(tt.info, tt.req, tt.extra...)))
	}
}

func TestOtherArguments(t *testing.T) {
	golden(t, "probe", lines(probeWords("a\nb.mov")))
	golden(t, "digest", lines(digestWords("a.mov", phone.Pictures[0])))
	pictures := &media.EncodePicture{Codec: "h264", Width: 64, Height: 48, Rate: frame.Rate{Num: 25, Den: 1}}
	sound := &media.EncodeSound{Codec: "aac", Rate: 48000, Channels: 2, Bitrate: 128000}
	golden(t, "encode-clip", lines(encodeWords(media.Encode{Out: "c.mov", Picture: pictures, Sound: sound,
		Tags: map[string]string{"timecode": "01:00:00:00", "make": "Maker"}, Args: []string{"-g", "10"}}, "spool.f32")))
	golden(t, "encode-rf64", lines(encodeWords(media.Encode{Out: "c.wav", Container: "rf64",
		Sound: &media.EncodeSound{Codec: "pcm_s24le", Rate: 48000, Channels: 1}}, "")))
}

func TestPictureArguments(t *testing.T) {
	near := stretch{from: 29.8, to: 30.3, seek: 29.5}
	all := stretch{from: math.Inf(-1), to: math.Inf(1), seek: math.Inf(-1)}
	turns := compact
	turns.Pictures = []media.Picture{{Codec: "mpeg4", Reordered: true}}
	golden(t, "stills-near", lines(stillsWords(camcorder, media.Stills{Path: "b.mts", Width: 320}, near)))
	golden(t, "stills-all", lines(stillsWords(turns, media.Stills{Path: "-c.avi"}, all)))
	golden(t, "small", lines(smallWords(camcorder, media.Small{Path: "b.mts", Out: "s.mp4", Height: 360})))
	golden(t, "small-in-turn", lines(smallWords(turns, media.Small{Path: "c.avi", Out: "s.mp4"})))
}

// The word for -fps_mode in 5.0 is -vsync (FFmpeg's Changelog, version 5.1).
func TestDialect(t *testing.T) {
	for version, want := range map[string]string{"5.0.1": "-vsync", "n5.0": "-vsync", "5.1.9-0+deb12u1": "-fps_mode", "7.1": "-fps_mode", "N-1-g2": "-fps_mode"} {
		if got := (&native{version: version}).dialect([]string{"-fps_mode", "passthrough"}); got[0] != want || got[1] != "passthrough" {
			t.Errorf("%s: %q", version, got)
		}
	}
}

func TestKept(t *testing.T) {
	plan := media.Plan{Clip: "a.mov", Info: phone, Out: "b.mov", Container: "mov", Sound: media.Track{Codec: "pcm_s24le", Rate: 48000, Channels: 1}}
	args, notes := Kept(plan)
	if len(args) == 0 || len(notes) != 1 || !strings.Contains(notes[0], "timed metadata track 2") {
		t.Errorf("notes are %q", notes)
	}
}
