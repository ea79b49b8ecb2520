// Package mediatest serves tests of media engines and of what is built on
// them: a fake engine that needs no codecs, the suite that every engine must
// pass, and recordings with a click at a known sample.
package mediatest

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/gob"
	"encoding/hex"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"

	"earshot/internal/fault"
	"earshot/internal/media"
)

// A File is what the fake engine keeps in a file on disk.
type File struct {
	Info    media.Info
	Sounds  [][]float32 // one for each of Info.Sounds: interleaved, from the file's zero
	Picture []byte      // stands for the picture packets
}

const magic = "fake media file 1\n"

// Write writes f to path in the fake's own format.
func Write(path string, f File) error {
	b := bytes.NewBufferString(magic)
	if err := gob.NewEncoder(b).Encode(f); err != nil {
		return err
	}
	return os.WriteFile(path, b.Bytes(), 0o644)
}

// Sound describes a sound file: one stream of interleaved samples.
func Sound(rate, channels int, created time.Time, samples []float32) File {
	d := float64(len(samples)/channels) / float64(rate)
	return File{
		Info: media.Info{Container: "wav", Duration: d, Created: created, Tags: map[string]string{},
			Sounds: []media.Sound{{Codec: "pcm_f32le", Rate: rate, Channels: channels, Bits: 32, Duration: d}}},
		Sounds: [][]float32{samples},
	}
}

// Clip describes a camera's file: Sound with a picture beside it. Different
// pictures have different digests.
func Clip(p media.Picture, rate, channels int, created time.Time, samples []float32, picture []byte) File {
	f := Sound(rate, channels, created, samples)
	f.Info.Container = "mov"
	if p.Duration == 0 {
		p.Duration = f.Info.Duration
	}
	f.Info.Sounds[0].Stream = 1
	f.Info.Pictures = []media.Picture{p}
	f.Picture = picture
	return f
}

// Fake is an engine for files made by Write. Its zero value is ready.
type Fake struct {
	// Before, when set, is called before every operation ("probe", "decode",
	// "stills", "small", "render", "digest", "encode") with the path it is about;
	// its error is returned. It may be called from several goroutines.
	Before func(ctx context.Context, op, path string) error
	// Lost is what Limits says.
	Lost []string
}

var _ media.Engine = (*Fake)(nil)

func (f *Fake) before(ctx context.Context, op, path string) error {
	if f.Before != nil {
		if err := f.Before(ctx, op, path); err != nil {
			return err
		}
	}
	return ctx.Err()
}

// About says that it is a fake.
func (f *Fake) About(ctx context.Context) (media.About, error) {
	return media.About{Name: "fake", Version: "1", Licence: "GPL-3.0-or-later"}, ctx.Err()
}

// Limits returns Lost.
func (f *Fake) Limits(media.Plan) []string { return f.Lost }

// Close does nothing.
func (f *Fake) Close() error { return nil }

func read(op, path string) (File, error) {
	bad := func(err error) (File, error) {
		return File{}, &fault.Error{Kind: fault.Unreadable, Op: op, Subject: path, Err: err, Hint: "check the file"}
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return bad(err)
	}
	rest, ok := strings.CutPrefix(string(b), magic)
	if !ok {
		return bad(errors.New("it is no picture or sound file that is known here"))
	}
	var out File
	if err := gob.NewDecoder(strings.NewReader(rest)).Decode(&out); err != nil {
		return bad(err)
	}
	return out, nil
}

// Probe returns the Info the file was written with.
func (f *Fake) Probe(ctx context.Context, path string) (media.Info, error) {
	if err := f.before(ctx, "probe", path); err != nil {
		return media.Info{}, err
	}
	file, err := read("read file", path)
	return file.Info, err
}

// Decode hands on the file's samples in blocks of 4096 frames.
func (f *Fake) Decode(ctx context.Context, req media.Decode, fn func([]float32) error) error {
	if err := f.before(ctx, "decode", req.Path); err != nil {
		return err
	}
	file, err := read("read sound", req.Path)
	if err != nil {
		return err
	}
	if req.Stream < 0 || req.Stream >= len(file.Sounds) {
		return &fault.Error{Kind: fault.Unreadable, Op: "read sound", Subject: req.Path, Err: errors.New("no such sound stream")}
	}
	s := file.Info.Sounds[req.Stream]
	samples, channels := file.Sounds[req.Stream], s.Channels
	if req.Mono {
		samples, channels = mono(samples, channels), 1
	}
	rate := s.Rate
	if req.Rate != 0 && req.Rate != s.Rate {
		samples, rate = resample(samples, channels, s.Rate, req.Rate), req.Rate
	}
	frames := len(samples) / channels
	from := min(int(math.Round(req.From*float64(rate))), frames)
	to := frames
	if req.To > 0 {
		to = max(from, min(int(math.Round(req.To*float64(rate))), frames))
	}
	for samples = samples[from*channels : to*channels]; len(samples) > 0; {
		if err := ctx.Err(); err != nil {
			return err
		}
		n := min(len(samples), 4096*channels)
		if err := fn(append([]float32(nil), samples[:n]...)); err != nil {
			return err
		}
		samples = samples[n:]
	}
	return nil
}

// PictureDigest is the sum of the file's picture bytes.
func (f *Fake) PictureDigest(ctx context.Context, path string) (string, error) {
	if err := f.before(ctx, "digest", path); err != nil {
		return "", err
	}
	file, err := read("fingerprint pictures", path)
	if err != nil {
		return "", err
	}
	if !file.Info.HasPicture() {
		return "", &fault.Error{Kind: fault.Unreadable, Op: "fingerprint pictures", Subject: path, Err: errors.New("it holds no moving pictures")}
	}
	sum := sha256.Sum256(file.Picture)
	return hex.EncodeToString(sum[:]), nil
}

// Render writes a file of the fake's own with the clip's picture and the new
// sound.
func (f *Fake) Render(ctx context.Context, plan media.Plan, sound io.Reader) error {
	if err := f.before(ctx, "render", plan.Out); err != nil {
		return err
	}
	clip, err := read("write clip", plan.Clip)
	if err != nil {
		return err
	}
	samples, err := floats(sound)
	if err != nil {
		return err
	}
	t := plan.Sound
	d := float64(len(samples)/t.Channels) / float64(t.Rate)
	out := File{Info: clip.Info, Picture: clip.Picture, Sounds: [][]float32{samples}}
	out.Info.Container = plan.Container
	out.Info.Duration = max(d, clip.Info.Duration)
	out.Info.Sounds = []media.Sound{{Stream: 1, Codec: t.Codec, Rate: t.Rate, Channels: t.Channels, Bits: 24, Duration: d, Title: t.Title, Default: true}}
	if plan.Scratch {
		for i, s := range clip.Info.Sounds {
			s.Default, s.Title, s.Stream = false, "Scratch", i+2
			out.Info.Sounds = append(out.Info.Sounds, s)
			out.Sounds = append(out.Sounds, clip.Sounds[i])
		}
	}
	out.Info.Tags = map[string]string{}
	for _, tags := range []map[string]string{clip.Info.Tags, plan.Tags} {
		for k, v := range tags {
			out.Info.Tags[k] = v
		}
	}
	return create("write clip", plan.Out, out)
}

// Encode keeps samples as they are and pictures as their bytes.
func (f *Fake) Encode(ctx context.Context, enc media.Encode) error {
	if err := f.before(ctx, "encode", enc.Out); err != nil {
		return err
	}
	out := File{Info: media.Info{Container: enc.Container, Tags: map[string]string{}}}
	if out.Info.Container == "" {
		out.Info.Container = strings.TrimPrefix(strings.ToLower(filepath.Ext(enc.Out)), ".")
	}
	for k, v := range enc.Tags {
		out.Info.Tags[strings.ToLower(k)] = v
	}
	out.Info.Created, _ = time.Parse(time.RFC3339, enc.Tags["creation_time"])
	out.Info.Timecode = enc.Tags["timecode"]
	if p := enc.Picture; p != nil {
		b, err := io.ReadAll(p.Frames)
		if err != nil {
			return err
		}
		frames := len(b) / (p.Width * p.Height * 3 / 2)
		d := float64(frames) / p.Rate.Float()
		out.Picture = b
		out.Info.Duration = d
		out.Info.Pictures = []media.Picture{{Codec: p.Codec, Width: p.Width, Height: p.Height, Rate: p.Rate, Duration: d}}
	}
	if s := enc.Sound; s != nil {
		samples, err := floats(s.Samples)
		if err != nil {
			return err
		}
		d := float64(len(samples)/s.Channels) / float64(s.Rate)
		out.Sounds = [][]float32{samples}
		out.Info.Duration = max(out.Info.Duration, d)
		out.Info.Sounds = []media.Sound{{Stream: len(out.Info.Pictures), Codec: s.Codec, Rate: s.Rate, Channels: s.Channels, Duration: d, Default: true}}
	}
	return create("write file", enc.Out, out)
}

// create writes a new file; one that is there already stays as it is.
func create(op, path string, f File) error {
	h, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err == nil {
		err = h.Close()
	}
	if err == nil {
		err = Write(path, f)
	}
	if err != nil {
		return &fault.Error{Kind: fault.Unwritable, Op: op, Subject: path, Err: err, Hint: "choose another name or folder"}
	}
	return nil
}

func floats(r io.Reader) ([]float32, error) {
	b, err := io.ReadAll(r)
	if err != nil {
		return nil, err
	}
	out := make([]float32, len(b)/4)
	for i := range out {
		out[i] = math.Float32frombits(binary.LittleEndian.Uint32(b[4*i:]))
	}
	return out, nil
}

func mono(in []float32, channels int) []float32 {
	out := make([]float32, len(in)/channels)
	for i := range out {
		var sum float32
		for c := range channels {
			sum += in[i*channels+c]
		}
		out[i] = sum / float32(channels)
	}
	return out
}

// resample is a plain windowed sinc, 16 zero crossings to each side: slow and
// good enough for tests.
func resample(in []float32, channels, from, to int) []float32 {
	const zeros = 16
	frames := len(in) / channels
	n := int(math.Round(float64(frames) * float64(to) / float64(from)))
	out := make([]float32, n*channels)
	cut := math.Min(1, float64(to)/float64(from))
	reach := zeros / cut
	for i := range n {
		at := float64(i) * float64(from) / float64(to)
		lo, hi := max(0, int(math.Ceil(at-reach))), min(frames-1, int(math.Floor(at+reach)))
		for k := lo; k <= hi; k++ {
			x := float64(k) - at
			w := cut * (0.5 + 0.5*math.Cos(math.Pi*x/reach))
			if y := math.Pi * x * cut; y != 0 {
				w *= math.Sin(y) / y
			}
			for c := range channels {
				out[i*channels+c] += float32(w) * in[k*channels+c]
			}
		}
	}
	return out
}
