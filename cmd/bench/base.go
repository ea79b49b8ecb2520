package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"

	"earshot/internal/dsp"
	"earshot/internal/media"
	"earshot/internal/media/ffmpeg"
)

// runBase does the work that cannot be avoided, and nothing else, for files,
// jobs of them at once:
//
//	decode  decode all their sound through the engine, and drop it
//	proxy   the same, mono and at the rate recordings are compared at
//	wed     copy each clip, and encode as much sound as it is long
//	copy    copy each clip
func runBase(ctx context.Context, mode string, jobs int, choice, cache string, files []string) error {
	engine, err := ffmpeg.Open(ffmpeg.Options{Choice: choice, CacheDir: cache})
	if err != nil {
		return err
	}
	defer engine.Close()
	dir := filepath.Dir(cache)
	do := map[string]func(string) error{
		"decode": func(f string) error { return decodeAll(ctx, engine, f, media.Decode{}) },
		"proxy":  func(f string) error { return decodeAll(ctx, engine, f, media.Decode{Rate: dsp.ProxyRate, Mono: true}) },
		"copy":   func(f string) error { return copyOnDisk(f, filepath.Join(dir, "base-"+filepath.Base(f))) },
		"wed":    func(f string) error { return wed(ctx, engine, dir, f) },
	}[mode]
	if do == nil {
		return fmt.Errorf("there is no base %q", mode)
	}
	errs := make([]error, jobs)
	next := make(chan string)
	var group sync.WaitGroup
	for i := range jobs {
		group.Go(func() {
			for f := range next {
				if err := do(f); err != nil && errs[i] == nil {
					errs[i] = err
				}
			}
		})
	}
	for _, f := range files {
		next <- f
	}
	close(next)
	group.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

func decodeAll(ctx context.Context, engine media.Engine, path string, req media.Decode) error {
	info, err := engine.Probe(ctx, path)
	if err != nil {
		return err
	}
	for i := range info.Sounds {
		req.Path, req.Info, req.Stream = path, &info, i
		if err := engine.Decode(ctx, req, func([]float32) error { return nil }); err != nil {
			return err
		}
	}
	return nil
}

// wed copies a clip and encodes its length of sound as AAC.
func wed(ctx context.Context, engine media.Engine, dir, clip string) error {
	out := filepath.Join(dir, "base-"+filepath.Base(clip))
	if err := copyOnDisk(clip, out); err != nil {
		return err
	}
	f, err := os.Open(soundOf(dir, clip))
	if err != nil {
		return err
	}
	defer f.Close()
	os.Remove(out + ".m4a")
	return engine.Encode(ctx, media.Encode{Out: out + ".m4a",
		Sound: &media.EncodeSound{Codec: "aac", Rate: 48000, Channels: 1, Bitrate: 128000, Samples: f}})
}

// copyOnDisk copies a file byte by byte and waits until it is on the disk.
func copyOnDisk(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.Create(to)
	if err != nil {
		return err
	}
	_, err = io.CopyBuffer(struct{ io.Writer }{out}, struct{ io.Reader }{in}, make([]byte, 1<<20))
	if err == nil {
		err = out.Sync()
	}
	if e := out.Close(); err == nil {
		err = e
	}
	return err
}
