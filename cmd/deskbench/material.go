package main

import (
	"bufio"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"earshot/internal/scene"
)

// What there is to look at: hours of talk, each heard by a camera and by a body
// mic. The first hour is a take as it is; all of them, cut into short clips,
// are the takes of a wall.
const (
	hour       = 3600 // seconds
	hours      = 3
	cut        = 10   // seconds of a short clip
	takes      = 1000 // that the wall is to show at least
	talkRate   = 16000
	filmLength = 60 // seconds, shown over and over
)

// material is two folders of recordings, and where the clip of each hour lies in
// its sound, seconds.
type material struct {
	hour, wall string
	offsets    [hours]float64
}

// names of the clips and sounds of an hour; a clip has its number behind.
func clipName(k int) string  { return fmt.Sprintf("C%d", k) }
func soundName(k int) string { return fmt.Sprintf("R%02d.WAV", k) }

// makeMaterial makes what is missing in dir. Films cost no time: one of a
// minute is laid under every hour.
func makeMaterial(ctx context.Context, dir string) (material, error) {
	m := material{hour: filepath.Join(dir, "hour"), wall: filepath.Join(dir, "wall")}
	film := filepath.Join(dir, "film.mp4")
	err := scene.Once(film, func() error {
		return tool(ctx, nil, "-f", "lavfi", "-i", fmt.Sprintf("testsrc2=s=1280x720:r=25:d=%d", filmLength), "-c:v", "libx264",
			"-preset", "veryfast", "-crf", "38", "-bf", "0", "-g", "50", "-pix_fmt", "yuv420p", film)
	})
	if err != nil {
		return m, err
	}
	phrases, err := scene.Phrases()
	if err != nil {
		return m, err
	}
	for k := range hours {
		sc := scene.Couple{Seed: uint64(90 + k), Length: hour, PPM: 18, Noise: scene.Traffic, SNR: 14, RT60: 0.4, DRR: -2}.Scene(phrases)
		m.offsets[k] = sc.Truth()[0].Offset
		whole := filepath.Join(dir, fmt.Sprintf("whole-%d.mov", k))
		sound := filepath.Join(m.wall, "MIC", soundName(k))
		if err := scene.Once(sound, func() error {
			return tool(ctx, talk(sc, &sc.Sounds[0]), append(raw("pipe:0"), "-ar", "48000", "-c:a", "pcm_s16le", sound)...)
		}); err != nil {
			return m, err
		}
		if err := scene.Once(whole, func() error {
			return tool(ctx, talk(sc, &sc.Clips[0]), append(append([]string{"-stream_loop", "-1", "-i", film}, raw("pipe:0")...),
				"-map", "0:v", "-map", "1:a", "-c:v", "copy", "-ar", "48000", "-c:a", "pcm_s16le", "-shortest", whole)...)
		}); err != nil {
			return m, err
		}
		if err := cutUp(ctx, whole, filepath.Join(m.wall, "CARD"), k); err != nil {
			return m, err
		}
	}
	return m, errors.Join(scene.LinkOnce(filepath.Join(dir, "whole-0.mov"), filepath.Join(m.hour, "CARD", "C0001.MOV")),
		scene.LinkOnce(filepath.Join(m.wall, "MIC", soundName(0)), filepath.Join(m.hour, "MIC", soundName(0))))
}

// cutUp cuts an hour into short clips.
func cutUp(ctx context.Context, whole, card string, k int) error {
	done := filepath.Join(card, fmt.Sprintf(".cut-%d", k))
	return scene.Once(done, func() error {
		if err := tool(ctx, nil, "-i", whole, "-map", "0", "-c", "copy", "-f", "segment", "-segment_time", fmt.Sprint(cut), "-segment_format", "mov",
			"-reset_timestamps", "1", filepath.Join(card, clipName(k)+"%03d.MOV")); err != nil {
			return err
		}
		return os.WriteFile(done, nil, 0o666)
	})
}

// raw are ffmpeg's words for talk.
func raw(from string) []string {
	return []string{"-f", "f32le", "-ar", fmt.Sprint(talkRate), "-ac", "1", "-i", from}
}

// talk is what a microphone heard, as float32.
func talk(sc *scene.Scene, d *scene.Device) io.Reader {
	r, w := io.Pipe()
	go func() {
		out := bufio.NewWriterSize(w, 1<<16)
		var b []byte
		for block := range sc.Blocks(d, talkRate) {
			b = b[:0]
			for _, v := range block {
				b = binary.LittleEndian.AppendUint32(b, math.Float32bits(v))
			}
			if _, err := out.Write(b); err != nil {
				return // nobody reads on
			}
		}
		w.CloseWithError(out.Flush())
	}()
	return r
}

// tool runs ffmpeg.
func tool(ctx context.Context, in io.Reader, args ...string) error {
	args = append([]string{"-v", "error", "-y"}, args...)
	cmd := exec.CommandContext(ctx, "ffmpeg", args...)
	cmd.Stdin = in
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("ffmpeg %s: %w\n%s", strings.Join(args, " "), err, out)
	}
	return nil
}
