package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"earshot/internal/frame"
	"earshot/internal/media"
	"earshot/internal/scene"
)

// otherTalk begins the names of the recorded speech that gets broken.
const otherTalk = "talk-"

const rate = 48000 // Hz, of every recording made here

// makeDay writes three clips of one talker, and two sounds that heard them:
// the first heard two clips, the second stops before its clip does.
func makeDay(ctx context.Context, engine media.Engine, dir string) error {
	if _, err := os.Stat(dir); err == nil {
		return nil
	}
	s, err := makeScene()
	if err != nil {
		return err
	}
	_, err = scene.Write(ctx, engine, dir, s, nil)
	return err
}

func makeScene() (*scene.Scene, error) {
	phrases, err := scene.Phrases()
	if err != nil {
		return nil, err
	}
	s := &scene.Scene{}
	// What is said in the files that get broken must not be said here too.
	phrases = slices.DeleteFunc(phrases, func(e *scene.Excerpt) bool { return strings.HasPrefix(e.Name, otherTalk) })
	for i, at := 0, 0.5; at < 100; i++ {
		u := scene.Utterance{At: at, Excerpt: phrases[i%len(phrases)]}
		s.Talk = append(s.Talk, u)
		at = u.End() + 0.3
	}
	for i, at := range []float64{4, 34, 70} {
		s.Clips = append(s.Clips, scene.Device{Name: []string{"card/C0001.MP4", "card/C0002.MP4", "card/C0003.MOV"}[i],
			Clock: scene.Clock{Start: at, PPM: -20}, Length: 24, Paths: []scene.Path{{Gain: 0.3, Flight: 0.01}}, Floor: -62, Seed: uint64(i + 1)})
	}
	s.Sounds = []scene.Device{
		{Name: "mic/0001.WAV", Clock: scene.Clock{Start: 1, PPM: 30}, Length: 60, Paths: []scene.Path{{}}, Floor: -70, Seed: 11},
		{Name: "mic/0002.m4a", Clock: scene.Clock{Start: 66, PPM: 30}, Length: 22, Paths: []scene.Path{{}}, Floor: -70, Seed: 12},
	}
	return s, nil
}

// kinds are the files that get broken, beside the real ones: every container
// that is read, with a picture codec where it holds pictures.
var kinds = []struct{ name, container, picture, sound string }{
	{"k.mp4", "mp4", "h264", "aac"}, {"k.mov", "mov", "mjpeg", "pcm_s16le"}, {"k.mkv", "mkv", "h264", "flac"},
	{"k.avi", "avi", "mpeg4", "mp3"}, {"k.mts", "mpegts", "h264", "ac3"}, {"k.mpg", "mpeg", "mpeg1video", "mp2"},
	{"k.wav", "wav", "", "pcm_s24le"}, {"k.rf64", "rf64", "", "pcm_s16le"}, {"k.m4a", "m4a", "", "aac"},
	{"k.mp3", "mp3", "", "mp3"}, {"k.flac", "flac", "", "flac"}, {"k.opus", "ogg", "", "opus"},
	{"k.aac", "aac", "", "aac"}, {"k.aiff", "aiff", "", "pcm_s16be"}, {"k.caf", "caf", "", "pcm_s16le"},
}

// makeKinds writes four seconds of talk in every kind, and returns the paths.
func makeKinds(ctx context.Context, engine media.Engine, dir string) ([]string, error) {
	s, err := makeScene()
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	d := s.Sounds[0]
	d.Length = 4
	var sound bytes.Buffer
	if err := binary.Write(&sound, binary.LittleEndian, s.Render(&d, rate)); err != nil {
		return nil, err
	}
	var paths []string
	for _, k := range kinds {
		path := filepath.Join(dir, k.name)
		enc := media.Encode{Out: path, Container: k.container,
			Sound: &media.EncodeSound{Codec: k.sound, Rate: rate, Channels: 1, Samples: bytes.NewReader(sound.Bytes())}}
		if k.picture != "" {
			enc.Picture = &media.EncodePicture{Codec: k.picture, Width: 64, Height: 48, Rate: frame.Rate{Num: 25, Den: 1}, Frames: greys(100, 64, 48)}
		}
		if _, err := os.Stat(path); err != nil {
			if err := engine.Encode(ctx, enc); err != nil {
				return nil, err
			}
		}
		paths = append(paths, path)
	}
	return paths, nil
}

// greys returns n frames, each a little lighter.
func greys(n, width, height int) *bytes.Reader {
	var b bytes.Buffer
	for i := range n {
		b.Write(bytes.Repeat([]byte{byte(16 + i%200)}, width*height))
		b.Write(bytes.Repeat([]byte{128}, width*height/2))
	}
	return bytes.NewReader(b.Bytes())
}
