package scene

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"

	"earshot/internal/fault"
	"earshot/internal/media"
)

// A pipeEngine encodes with the FFmpeg installed here; nothing else of an
// engine is there.
type pipeEngine struct {
	media.Engine
	ffmpeg, dir string
	n           int
	mu          sync.Mutex
}

// spool puts raw material into a file.
func (e *pipeEngine) spool(r io.Reader) (string, error) {
	e.mu.Lock()
	e.n++
	name := filepath.Join(e.dir, fmt.Sprint("raw", e.n))
	e.mu.Unlock()
	raw, err := io.ReadAll(r)
	if err != nil {
		return "", err
	}
	return name, os.WriteFile(name, raw, 0o600)
}

func (e *pipeEngine) Encode(ctx context.Context, enc media.Encode) error {
	args := []string{"-v", "error"}
	if p := enc.Picture; p != nil {
		name, err := e.spool(p.Frames)
		if err != nil {
			return err
		}
		args = append(args, "-f", "rawvideo", "-pix_fmt", "yuv420p", "-s", fmt.Sprintf("%dx%d", p.Width, p.Height),
			"-r", fmt.Sprintf("%d/%d", p.Rate.Num, p.Rate.Den), "-i", name, "-c:v", p.Codec)
	}
	name, err := e.spool(enc.Sound.Samples)
	if err != nil {
		return err
	}
	args = append(args, "-f", "f32le", "-ar", fmt.Sprint(enc.Sound.Rate), "-ac", "1", "-i", name, "-c:a", enc.Sound.Codec)
	args = append(append(args, enc.Args...), enc.Out)
	if out, err := exec.CommandContext(ctx, e.ffmpeg, args...).CombinedOutput(); err != nil {
		return fmt.Errorf("%v: %s", err, out)
	}
	return nil
}

// decodeFile returns a file's sound as FFmpeg plays it.
func decodeFile(t *testing.T, ffmpeg, name string, rate int) []float32 {
	t.Helper()
	raw, err := exec.Command(ffmpeg, "-v", "error", "-i", name, "-ac", "1", "-ar", fmt.Sprint(rate), "-f", "f32le", "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	out := make([]float32, len(raw)/4)
	if err := binary.Read(bytes.NewReader(raw), binary.LittleEndian, out); err != nil {
		t.Fatal(err)
	}
	return out
}

// lag returns by how many samples b comes after a, found within ±1500 on ten
// seconds, and how alike the two are there.
func lag(a, b []float32) (best int, alike float64) {
	n := min(len(a), len(b), 10*48000) - 5000
	for shift := -1500; shift <= 1500; shift++ {
		dot, aa, bb := 0.0, 1e-12, 1e-12
		for i := 2500; i < n; i += 7 {
			x, y := float64(a[i]), float64(b[i+shift])
			dot, aa, bb = dot+x*y, aa+x*x, bb+y*y
		}
		if r := dot / math.Sqrt(aa*bb); r > alike {
			best, alike = shift, r
		}
	}
	return best, alike
}

// TestWrite writes a clip and sounds of several kinds and checks that their
// decoded sound starts on the very sample it was rendered from.
func TestWrite(t *testing.T) {
	ffmpeg := program(t, "ffmpeg")
	demo := mustDemo(t)
	s := &Scene{Talk: demo.Talk, Clips: demo.Clips[2:3]}
	for _, name := range []string{"MIC/a.wav", "MIC/b.m4a", "MIC/c.mp3", "MIC/d.flac"} {
		d := demo.Sounds[2]
		d.Name, d.Length = name, 6
		s.Sounds = append(s.Sounds, d)
	}
	dir := t.TempDir()
	var names []string
	w, err := Write(context.Background(), &pipeEngine{ffmpeg: ffmpeg, dir: t.TempDir()}, dir, s,
		func(name string) { names = append(names, name) })
	if err != nil {
		t.Fatal(err)
	}
	if len(names) != 5 {
		t.Errorf("told of %q, want five names", names)
	}
	check := func(d *Device, path string) {
		want := s.Render(d, d.rate())
		by, alike := lag(want, decodeFile(t, ffmpeg, path, d.rate()))
		if by != 0 || alike < 0.98 {
			t.Errorf("%s: decoded sound is %d samples late, %.3f alike", d.Name, by, alike)
		}
	}
	check(&s.Clips[0], w.Clips[0])
	for i := range s.Sounds {
		check(&s.Sounds[i], w.Sounds[i])
	}
}

// failingEngine refuses the second file.
type failingEngine struct {
	media.Engine
	mu sync.Mutex
	n  int
}

func (e *failingEngine) Encode(context.Context, media.Encode) error {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.n++; e.n > 1 {
		return &fault.Error{Kind: fault.Unwritable, Op: "write file", Err: errors.New("no space left")}
	}
	return nil
}

// TestWriteFails checks that a failure comes back as it is and stops the work.
func TestWriteFails(t *testing.T) {
	e := &failingEngine{}
	_, err := Write(context.Background(), e, t.TempDir(), mustDemo(t), nil)
	if fault.KindOf(err) != fault.Unwritable {
		t.Errorf("error %v, want the engine's", err)
	}
	if e.n > 4 {
		t.Errorf("%d files were started", e.n)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Write(ctx, e, t.TempDir(), mustDemo(t), nil); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v after cancelling", err)
	}
}
