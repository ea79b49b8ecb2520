package main

import (
	"context"
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"runtime"

	"earshot/internal/media"
	"earshot/internal/scene"
)

// mostSeasonPair is how long the first pairing of a season's files may take,
// over decoding them.
const mostSeasonPair = 1.25

// seasonFiles measures pairing the first sounds of a season and their clips as
// real files: WAV at 48 kHz, and AAC under a film.
func (b *bench) seasonFiles(ctx context.Context) error {
	const sounds = 4
	s, err := newSeason(filepath.Join(b.dir, "season"))
	if err != nil {
		return err
	}
	folder := filepath.Join(b.dir, "season-files")
	var files []string
	length, e := 0.0, s.engine()
	for _, d := range s.sounds[:sounds] {
		out := filepath.Join(folder, "PHONE", filepath.Base(d.path))
		if err := scene.Once(out, func() error { return b.sounding(ctx, e, d.path, out) }); err != nil {
			return err
		}
		files = append(files, out)
		info, _ := e.Probe(ctx, d.path)
		length += info.Duration
	}
	for _, c := range s.clips[:sounds*soundClips] {
		out := filepath.Join(folder, "CARD", filepath.Base(c.path))
		plain := filepath.Join(b.dir, "season-plain", filepath.Base(c.path)+".m4a")
		if err := scene.Once(plain, func() error { return b.sounding(ctx, e, c.path, plain, "-b:a", "128k") }); err != nil {
			return err
		}
		if err := b.dressed(ctx, plain, out, 1); err != nil {
			return err
		}
		files = append(files, out)
		info, _ := e.Probe(ctx, c.path)
		length += info.Duration
	}
	b.sheet.head(fmt.Sprintf("%d clips and %d sounds of a season as files, %.1f hours: the first run", sounds*soundClips, sounds, length/3600))
	for _, e := range b.engines {
		r, err := b.race([]string{"one", "first", "cores"}, func(work string) (cost, error) {
			switch work {
			case "one":
				return b.base(ctx, e, "decode", 1, files...)
			case "cores":
				return b.base(ctx, e, "decode", runtime.NumCPU(), files...)
			}
			if err := b.forget(e); err != nil {
				return cost{}, err
			}
			return b.work(ctx, b.earshot, b.args(e, "pair", folder)...)
		})
		if err != nil {
			return err
		}
		b.sheet.ratio(e, "pairing / decoding, one file after another", r.costs["first"], r.costs["one"], mostSeasonPair)
		b.sheet.ratio(e, fmt.Sprintf("pairing / decoding, %d files at once", runtime.NumCPU()), r.costs["first"], r.costs["cores"], 0)
	}
	return nil
}

// sounding writes a recording of a season as a file of sound.
func (b *bench) sounding(ctx context.Context, e *seasonEngine, path, out string, args ...string) error {
	raw, err := os.CreateTemp(b.dir, "base-season-")
	if err != nil {
		return err
	}
	defer os.Remove(raw.Name())
	defer raw.Close()
	err = e.Decode(ctx, media.Decode{Path: path}, func(block []float32) error {
		bytes := make([]byte, 0, 2*len(block))
		for _, v := range block {
			bytes = binary.LittleEndian.AppendUint16(bytes, uint16(int16(32767*max(-1, min(1, v)))))
		}
		_, err := raw.Write(bytes)
		return err
	})
	if err != nil {
		return err
	}
	args = append([]string{"-f", "s16le", "-ar", "16000", "-i", raw.Name(), "-ar", "48000"}, args...)
	return tool(ctx, append(args, out)...)
}
