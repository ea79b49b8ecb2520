package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"

	"github.com/rogpeppe/go-internal/testscript"

	"earshot/internal/frame"
	"earshot/internal/media"
	"earshot/internal/media/ffmpeg"
	"earshot/internal/scene"
)

// status runs a command and wants an exit status: status 3 earshot pair day.
func status(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: status NUMBER COMMAND ARGUMENT...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var exit *exec.ExitError
		if !errors.As(err, &exit) {
			ts.Fatalf("%v", err)
		}
		got = exit.ExitCode()
	}
	if got != want {
		ts.Fatalf("exit status %d, want %d", got, want)
	}
}

// oneJSON wants the last standard output to be one JSON document, and
// nothing else.
func oneJSON(ts *testscript.TestScript, neg bool, args []string) {
	dec := json.NewDecoder(bytes.NewReader([]byte(ts.ReadFile("stdout"))))
	var v any
	if err := dec.Decode(&v); err != nil {
		ts.Fatalf("standard output holds no JSON: %v", err)
	}
	if err := dec.Decode(&v); err != io.EOF {
		ts.Fatalf("something stands after the document: %v", err)
	}
}

// naughty copies a file to a name no shell likes: naughty FILE FOLDER.
func naughty(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) != 2 {
		ts.Fatalf("usage: naughty FILE FOLDER")
	}
	content, err := os.ReadFile(ts.MkAbs(args[0]))
	ts.Check(err)
	name := "-two\nlines \x1b[31m$(x) \"'%d:" + filepath.Ext(args[0])
	ts.Check(os.WriteFile(filepath.Join(ts.MkAbs(args[1]), name), content, 0o666))
}

// record makes recordings of one talker, with known truth:
//
//	record [-early S] [-drift PPM] [-seconds N] [-seed N] [-finished MS] CLIP [SOUND]
//
// The sound began S seconds before the clip and its clock runs PPM fast. With
// -finished, SOUND is a finished clip instead, its good sound MS milliseconds
// late.
func record(ts *testscript.TestScript, neg bool, args []string) {
	set := flag.NewFlagSet("record", flag.ContinueOnError)
	early := set.Float64("early", 2, "seconds")
	drift := set.Float64("drift", 0, "ppm")
	seconds := set.Float64("seconds", 20, "length of the clip")
	seed := set.Int("seed", 0, "which talk")
	late := set.Float64("finished", math.NaN(), "ms")
	ts.Check(set.Parse(args))
	clip, sound := ts.MkAbs(set.Arg(0)), set.Arg(1)

	const rate = 48000
	phrases, err := scene.Phrases()
	ts.Check(err)
	s := &scene.Scene{Notes: map[string]string{}}
	at := 0.3
	for i := *seed * 7; at < *seconds+*early+3; i++ {
		u := scene.Utterance{At: at, Excerpt: phrases[i%len(phrases)]}
		s.Talk = append(s.Talk, u)
		at = u.End() + 0.2
	}
	camera := scene.Device{Name: "clip", Clock: scene.Clock{Start: *early + 1}, Length: *seconds,
		Paths: []scene.Path{{Gain: 0.3}}, Floor: -60, Seed: 1}
	mic := scene.Device{Name: "sound", Clock: scene.Clock{Start: 1, PPM: *drift}, Length: *seconds + *early + 1,
		Paths: []scene.Path{{Gain: 1}}, Floor: -70, Seed: 2}

	ctx := context.Background()
	engine, err := ffmpeg.Open(ffmpeg.Options{CacheDir: ts.Getenv("EARSHOT_CACHE")})
	ts.Check(err)
	defer engine.Close()
	rates := frame.Rate{Num: 25, Den: 1}
	if _, err := os.Stat(clip); err != nil {
		ts.Check(engine.Encode(ctx, media.Encode{Out: clip,
			Picture: &media.EncodePicture{Codec: "mpeg4", Width: 64, Height: 48, Rate: rates, Frames: grey(int(*seconds*25), 64, 48)},
			Sound:   &media.EncodeSound{Codec: "aac", Rate: rate, Channels: 1, Samples: floats(s.Render(&camera, rate))}}))
	}
	switch {
	case sound == "":
	case math.IsNaN(*late):
		ts.Check(engine.Encode(ctx, media.Encode{Out: ts.MkAbs(sound),
			Sound: &media.EncodeSound{Codec: "pcm_s16le", Rate: rate, Channels: 1, Samples: floats(s.Render(&mic, rate))}}))
	default:
		mic.Clock.Start, mic.Length = camera.Clock.Start-*late/1000, *seconds
		info, err := engine.Probe(ctx, clip)
		ts.Check(err)
		ts.Check(engine.Render(ctx, media.Plan{Clip: clip, Info: info, Out: ts.MkAbs(sound), Container: "mov", Scratch: true,
			Sound: media.Track{Codec: "pcm_s24le", Rate: rate, Channels: 1, Title: "good"}}, floats(s.Render(&mic, rate))))
	}
}

// grey returns frames of a slowly changing grey.
func grey(n, width, height int) io.Reader {
	var b bytes.Buffer
	for i := range n {
		b.Write(bytes.Repeat([]byte{byte(16 + i%200)}, width*height))
		b.Write(bytes.Repeat([]byte{128}, width*height/2))
	}
	return &b
}

// floats returns samples as the engine takes them.
func floats(samples []float32) io.Reader {
	var b bytes.Buffer
	if err := binary.Write(&b, binary.LittleEndian, samples); err != nil {
		panic(err)
	}
	return &b
}
