package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"earshot/internal/media/ffmpeg"
	"earshot/internal/scene"
)

// material is what there is to work on. All sound is of one made-up shoot;
// pictures are a short film, over and over, so that they cost no time to make.
type material struct {
	shoot  string   // a folder: six clips of 1280×720 at 5 Mb/s, 17 minutes in all; a phone's recordings, 28
	clips  []string // of it
	sounds []string
	plain  string // a clip with hardly any picture
	large  string // a folder: a clip of a given size and its recording
}

// Which shoot: six clips, four of them under one recording that runs on.
const (
	shootSeed = 1
	phoneLong = 25 * 60 // seconds
)

// material makes what is missing.
func (b *bench) material(ctx context.Context) error {
	raw := filepath.Join(b.dir, "raw")
	sc, err := scene.RandomShoot(shootSeed, scene.Options{MinTakes: 5, MaxTakes: 5, MinTake: 90, MaxTake: 300,
		Boxes: true, SNR: [2]float64{8, 20}, Names: func(n int, clip bool) string {
			if clip {
				return fmt.Sprintf("C%04d.MP4", n)
			}
			return fmt.Sprintf("REC%04d.m4a", n)
		}})
	if err != nil {
		return err
	}
	longest, film := 0, 0
	for i, d := range sc.Sounds {
		if d.Length > sc.Sounds[longest].Length {
			longest = i
		}
	}
	for i, d := range sc.Clips {
		if d.Length > sc.Clips[film].Length {
			film = i
		}
	}
	sc.Sounds[longest].Length = phoneLong
	if err := scene.Once(filepath.Join(b.dir, "raw.done"), func() error { return writeRaw(ctx, raw, sc) }); err != nil {
		return err
	}
	m := &b.made
	m.shoot, m.plain, m.large = filepath.Join(b.dir, "shoot"), filepath.Join(raw, sc.Clips[film].Name), filepath.Join(b.dir, "large")
	for _, d := range sc.Sounds {
		p := filepath.Join(m.shoot, "PHONE", d.Name)
		m.sounds = append(m.sounds, p)
		if err := scene.LinkOnce(filepath.Join(raw, d.Name), p); err != nil {
			return err
		}
	}
	for _, d := range sc.Clips {
		p := filepath.Join(m.shoot, "CARD", d.Name)
		m.clips = append(m.clips, p)
		if err := b.dressed(ctx, filepath.Join(raw, d.Name), p, 5); err != nil {
			return err
		}
		if err := scene.Once(soundOf(b.dir, p), func() error {
			return tool(ctx, "-i", p, "-vn", "-ac", "1", "-ar", "48000", "-f", "f32le", soundOf(b.dir, p))
		}); err != nil {
			return err
		}
	}
	if err := scene.LinkOnce(filepath.Join(raw, sc.Sounds[longest].Name), filepath.Join(m.large, "PHONE", "REC.m4a")); err != nil {
		return err
	}
	rate := int(float64(b.size) * 8 / sc.Clips[film].Length) // Mb/s
	return b.dressed(ctx, m.plain, filepath.Join(m.large, "CARD", "LARGE.MP4"), max(1, rate))
}

// soundOf names the file that holds a clip's length of sound as samples, for
// encoding.
func soundOf(dir, clip string) string {
	return filepath.Join(dir, "samples", filepath.Base(clip)+".f32")
}

// writeRaw writes the shoot's sound, with hardly any picture.
func writeRaw(ctx context.Context, dir string, sc *scene.Scene) error {
	fmt.Fprintln(os.Stderr, "making material, once")
	if err := os.RemoveAll(dir); err != nil {
		return err
	}
	engine, err := ffmpeg.Open(ffmpeg.Options{Choice: "native"})
	if err != nil {
		return err
	}
	defer engine.Close()
	if _, err := scene.Write(ctx, engine, dir, sc, nil); err != nil {
		return err
	}
	return os.WriteFile(dir+".done", nil, 0o666)
}

// dressed writes a clip with the sound of plain under a film of so many Mb/s.
func (b *bench) dressed(ctx context.Context, plain, out string, rate int) error {
	film := filepath.Join(b.dir, fmt.Sprintf("film-%d.mp4", rate))
	if err := scene.Once(film, func() error {
		r := fmt.Sprintf("%dM", rate)
		return tool(ctx, "-f", "lavfi", "-i", "testsrc2=s=1280x720:r=25:d=8,noise=alls=30:allf=t",
			"-c:v", "libx264", "-preset", "ultrafast", "-bf", "0", "-g", "50", "-pix_fmt", "yuv420p",
			"-b:v", r, "-maxrate", r, "-bufsize", r, "-x264-params", "nal-hrd=cbr", film)
	}); err != nil {
		return err
	}
	return scene.Once(out, func() error {
		return tool(ctx, "-stream_loop", "-1", "-i", film, "-i", plain, "-map", "0:v", "-map", "1:a", "-c", "copy", "-shortest", out)
	})
}

// tool runs ffmpeg.
func tool(ctx context.Context, args ...string) error {
	args = append([]string{"-v", "error", "-nostdin", "-y"}, args...)
	out, err := exec.CommandContext(ctx, "ffmpeg", args...).CombinedOutput()
	if err != nil {
		return fmt.Errorf("ffmpeg %s: %w\n%s", strings.Join(args, " "), err, out)
	}
	return nil
}
