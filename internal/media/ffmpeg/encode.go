package ffmpeg

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"

	"earshot/internal/fault"
	"earshot/internal/media"
)

// muxers gives our short container names the engine's.
var muxers = map[string]string{"mkv": "matroska", "m4a": "ipod", "mpg": "mpeg", "mts": "mpegts", "m2ts": "mpegts",
	"ts": "mpegts", "aac": "adts", "oga": "ogg", "aif": "aiff", "rf64": "wav"}

// encodeWords makes a file from raw material. Pictures come on stdin; so does
// sound, unless samples names a file that holds it.
func encodeWords(enc media.Encode, samples string) []word {
	ws := words("-hide_banner", "-nostdin", "-v", "error", "-y")
	if p := enc.Picture; p != nil {
		ws = append(ws, words("-f", "rawvideo", "-pix_fmt", "yuv420p", "-s", fmt.Sprintf("%dx%d", p.Width, p.Height),
			"-r", fmt.Sprintf("%d/%d", p.Rate.Num, p.Rate.Den), "-i", "pipe:0")...)
	}
	if s := enc.Sound; s != nil {
		ws = append(ws, words("-f", "f32le", "-ar", strconv.Itoa(s.Rate), "-ac", strconv.Itoa(s.Channels), "-i")...)
		if samples == "" {
			ws = append(ws, words("pipe:0")...)
		} else {
			ws = append(ws, word{samples, reads})
		}
	}
	if p := enc.Picture; p != nil {
		ws = append(ws, words("-c:v", p.Codec)...)
		if p.Codec == "h264" || p.Codec == "hevc" {
			ws = append(ws, words("-preset", "veryfast")...)
		}
		ws = append(ws, words("-pix_fmt", pixels(p.Codec))...)
	}
	if s := enc.Sound; s != nil {
		ws = append(ws, soundWords(s)...)
	}
	ws = append(ws, tagWords(enc.Tags)...)
	ws = append(ws, words(enc.Args...)...)
	if c := enc.Container; c != "" {
		if m := muxers[c]; m != "" {
			c = m
		}
		ws = append(ws, words("-f", c)...)
	}
	if enc.Container == "rf64" {
		ws = append(ws, words("-rf64", "always")...)
	}
	return append(ws, word{enc.Out, writes})
}

func pixels(codec string) string {
	if codec == "mjpeg" {
		return "yuvj420p"
	}
	return "yuv420p"
}

// encoders gives codecs the encoder that both engines have; the engine's own
// choice for the rest.
var encoders = map[string]string{"mp3": "libmp3lame", "opus": "libopus"}

func soundWords(s *media.EncodeSound) []word {
	codec := s.Codec
	if e := encoders[codec]; e != "" {
		codec = e
	}
	ws := words("-c:a", codec)
	if s.Codec == "vorbis" {
		ws = append(ws, words("-strict", "-2")...)
	}
	if s.Bitrate > 0 {
		ws = append(ws, words("-b:a", strconv.Itoa(s.Bitrate))...)
	}
	return ws
}

// tagWords sets container tags, in order of their keys.
func tagWords(tags map[string]string) []word {
	var ws []word
	for _, k := range sortedKeys(tags) {
		ws = append(ws, words("-metadata", k+"="+tags[k])...)
	}
	return ws
}

func sortedKeys(m map[string]string) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// Encode writes a new file from raw frames and samples.
func (e *Engine) Encode(ctx context.Context, enc media.Encode) (err error) {
	const op = "write file"
	if enc.Picture == nil && enc.Sound == nil {
		return &fault.Error{Kind: fault.Internal, Op: op, Subject: enc.Out, Err: errors.New("neither pictures nor sound given")}
	}
	if p := enc.Picture; p != nil && (p.Rate.Num <= 0 || p.Rate.Den <= 0) {
		return &fault.Error{Kind: fault.Internal, Op: op, Subject: enc.Out, Err: errors.New("no frame rate given")}
	}
	var samples string
	j := job{tool: "ffmpeg"}
	switch {
	case enc.Picture == nil:
		j.stdin = enc.Sound.Samples
	case enc.Sound == nil:
		j.stdin = enc.Picture.Frames
	default:
		if samples, err = spool(enc.Sound.Samples); err != nil {
			return &fault.Error{Kind: fault.Unwritable, Op: op, Subject: enc.Out, Err: err}
		}
		defer os.Remove(samples)
		j.stdin = enc.Picture.Frames
	}
	j.words = encodeWords(enc, samples)
	return e.write(ctx, op, enc.Out, enc.Out, j)
}

// spool puts r into a temporary file: one pipe cannot carry both pictures and
// sound.
func spool(r io.Reader) (string, error) {
	f, err := os.CreateTemp("", "earshot-*.f32")
	if err != nil {
		return "", err
	}
	_, err = io.Copy(f, r)
	if e := f.Close(); err == nil {
		err = e
	}
	if err != nil {
		os.Remove(f.Name())
		return "", err
	}
	return f.Name(), nil
}

// write runs a job whose only output is the new file out. The file is made
// first, so that an existing one is never touched and the mode is the usual
// one; it is removed when anything fails. Errors in reading name the file from.
func (e *Engine) write(ctx context.Context, op, from, out string, j job) (err error) {
	f, err := os.OpenFile(out, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		hint := "choose another folder"
		if errors.Is(err, os.ErrExist) {
			hint = "remove it or choose another name"
		}
		return &fault.Error{Kind: fault.Unwritable, Op: op, Subject: out, Err: fault.Cause(err), Hint: hint}
	}
	f.Close()
	defer func() {
		if err != nil {
			os.Remove(out)
		}
	}()
	res, err := e.run(ctx, j, out)
	if err != nil {
		return settle(op, out, err)
	}
	if res.code != 0 {
		res.said += "\n" + growError(out)
		err := explain(op, out, res, fault.Unwritable)
		if fe := (*fault.Error)(nil); errors.As(err, &fe) && fe.Kind == fault.Unreadable {
			fe.Subject = from
		}
		return err
	}
	return nil
}

// growError says why the file path cannot grow by another megabyte, or nothing
// when it can. The embedded engine calls every failure to write an I/O error.
func growError(path string) string {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND, 0)
	if err == nil {
		_, err = f.Write(make([]byte, 1<<20))
		f.Close()
	}
	var pe *os.PathError
	if errors.As(err, &pe) {
		return pe.Err.Error()
	}
	return ""
}
