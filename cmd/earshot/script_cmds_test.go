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
// late. A clip that is already there stays.
func record(ts *testscript.TestScript, neg bool, args []string) {
	var r recording
	set := flag.NewFlagSet("record", flag.ContinueOnError)
	set.Float64Var(&r.early, "early", 2, "seconds")
	set.Float64Var(&r.drift, "drift", 0, "ppm")
	set.Float64Var(&r.seconds, "seconds", 20, "length of the clip")
	set.IntVar(&r.seed, "seed", 0, "which talk")
	set.Float64Var(&r.late, "finished", math.NaN(), "ms")
	ts.Check(set.Parse(args))
	sound := set.Arg(1)
	if sound != "" {
		sound = ts.MkAbs(sound)
	}
	ts.Check(r.write(ts.Getenv("EARSHOT_CACHE"), ts.MkAbs(set.Arg(0)), sound))
}

// A recording is what record makes.
type recording struct {
	early, drift, seconds float64
	late                  float64 // NaN: a sound, not a finished clip
	seed                  int
}

const rate = 48000 // Hz, of every recording here

// write makes clip and, unless it is "", sound.
func (r recording) write(cache, clip, sound string) error {
	phrases, err := scene.Phrases()
	if err != nil {
		return err
	}
	s := &scene.Scene{}
	at := 0.3
	for i := r.seed * 7; at < r.seconds+r.early+3; i++ {
		u := scene.Utterance{At: at, Excerpt: phrases[i%len(phrases)]}
		s.Talk = append(s.Talk, u)
		at = u.End() + 0.2
	}
	camera := scene.Device{Name: "clip", Clock: scene.Clock{Start: r.early + 1}, Length: r.seconds,
		Paths: []scene.Path{{Gain: 0.3}}, Floor: -60, Seed: uint64(1 + 2*r.seed)}
	mic := scene.Device{Name: "sound", Clock: scene.Clock{Start: 1, PPM: r.drift}, Length: r.seconds + r.early + 1,
		Paths: []scene.Path{{Gain: 1}}, Floor: -70, Seed: uint64(2 + 2*r.seed)}

	ctx := context.Background()
	engine, err := ffmpeg.Open(ffmpeg.Options{CacheDir: cache})
	if err != nil {
		return err
	}
	defer engine.Close()
	if err := os.MkdirAll(filepath.Dir(clip), 0o777); err != nil {
		return err
	}
	if _, err := os.Stat(clip); err != nil {
		if err := engine.Encode(ctx, media.Encode{Out: clip,
			Picture: &media.EncodePicture{Codec: "mpeg4", Width: 64, Height: 48, Rate: frame.Rate{Num: 25, Den: 1}, Frames: grey(int(r.seconds*25), 64, 48)},
			Sound:   &media.EncodeSound{Codec: "aac", Rate: rate, Channels: 1, Samples: floats(s.Render(&camera, rate))}}); err != nil {
			return err
		}
	}
	switch {
	case sound == "":
		return nil
	case math.IsNaN(r.late):
		return engine.Encode(ctx, media.Encode{Out: sound,
			Sound: &media.EncodeSound{Codec: "pcm_s16le", Rate: rate, Channels: 1, Samples: floats(s.Render(&mic, rate))}})
	}
	mic.Clock.Start, mic.Length = camera.Clock.Start-r.late/1000, r.seconds
	info, err := engine.Probe(ctx, clip)
	if err != nil {
		return err
	}
	return engine.Render(ctx, media.Plan{Clip: clip, Info: info, Out: sound, Container: "mov", Scratch: true,
		Sound: media.Track{Codec: "pcm_s24le", Rate: rate, Channels: 1, Title: "good"}}, floats(s.Render(&mic, rate)))
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
