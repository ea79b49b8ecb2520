package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// codedRate is the rate at which recordings go through a codec, Hz: a phone's.
const codedRate = 48000

// A codec is one that FFmpeg on PATH writes, at so many kb/s; without a name,
// none.
type codec struct {
	name string
	kbps int
}

func (k codec) String() string {
	return fmt.Sprintf("both through %s at %d kb/s", map[string]string{"aac": "AAC", "libmp3lame": "MP3"}[k.name], k.kbps)
}

// code is mono sound as it comes out of the codec. The files say how much the
// encoder put before it, and FFmpeg takes that off.
func (k codec) code(ctx context.Context, x []float32, rate int) ([]float32, error) {
	dir, err := os.MkdirTemp("", "accuracy-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	file := filepath.Join(dir, "coded.m4a")
	if strings.Contains(k.name, "mp3") {
		file = filepath.Join(dir, "coded.mp3")
	}
	raw := []string{"-f", "f32le", "-ar", fmt.Sprint(rate), "-ac", "1"}
	var in bytes.Buffer
	if err := binary.Write(&in, binary.LittleEndian, x); err != nil {
		return nil, err
	}
	to := append(append([]string{}, raw...), "-i", "-", "-c:a", k.name, "-b:a", fmt.Sprintf("%dk", k.kbps), file)
	if _, err := ffmpeg(ctx, in.Bytes(), to...); err != nil {
		return nil, err
	}
	b, err := ffmpeg(ctx, nil, append(append([]string{"-i", file}, raw...), "-")...)
	if err != nil {
		return nil, err
	}
	out := make([]float32, len(x))
	for i := range out {
		if 4*i+4 <= len(b) {
			out[i] = math.Float32frombits(binary.LittleEndian.Uint32(b[4*i:]))
		}
	}
	return out, nil
}

func ffmpeg(ctx context.Context, in []byte, words ...string) ([]byte, error) {
	cmd := exec.CommandContext(ctx, "ffmpeg", append([]string{"-v", "error", "-nostdin"}, words...)...)
	cmd.Stdin = bytes.NewReader(in)
	var problem bytes.Buffer
	cmd.Stderr = &problem
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("run ffmpeg %s: %w %s", strings.Join(words, " "), err, problem.String())
	}
	return out, nil
}
