package scene

import (
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"io"
	"iter"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"earshot/internal/fault"
	"earshot/internal/media"
)

// Written says where a scene's recordings stand on disk, in the order of
// Scene.Clips and Scene.Sounds.
type Written struct {
	Clips  []string
	Sounds []string
	Truth  []Pair
}

// Write makes files of all recordings under dir, at their names, which may
// hold folders. What is written follows from a name's ending: H.264 or the
// film's own codec with AAC for clips; AAC, MP3, FLAC, Opus or 16-bit PCM for
// sounds. Files are made two at a time; done, which may be nil, is told each
// finished name, never twice at once.
//
// The truth is about decoded files: media.Engine.Decode cuts encoder delay, so
// that a file's zero is the recording's first sample.
func Write(ctx context.Context, engine media.Engine, dir string, s *Scene, done func(name string)) (*Written, error) {
	w := &writer{engine: engine, dir: dir, scene: s, done: done}
	out := &Written{Truth: s.Truth()}
	var jobs []job
	for i := range s.Clips {
		out.Clips = append(out.Clips, filepath.Join(dir, filepath.FromSlash(s.Clips[i].Name)))
		jobs = append(jobs, job{5 * s.Clips[i].Length,
			func(ctx context.Context) error { return w.clip(ctx, &s.Clips[i], out.Clips[i]) }})
	}
	for i := range s.Sounds {
		out.Sounds = append(out.Sounds, filepath.Join(dir, filepath.FromSlash(s.Sounds[i].Name)))
		jobs = append(jobs, job{s.Sounds[i].Length,
			func(ctx context.Context) error { return w.sound(ctx, &s.Sounds[i], out.Sounds[i]) }})
	}
	for _, path := range append(append([]string{}, out.Clips...), out.Sounds...) {
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			return nil, &fault.Error{Kind: fault.Unwritable, Op: "make folder", Subject: filepath.Dir(path), Err: fault.Cause(err),
				Hint: "choose another folder"}
		}
	}
	if err := inPairs(ctx, jobs); err != nil {
		return nil, err
	}
	return out, nil
}

// A job makes one file; cost says how long that takes, in no unit.
type job struct {
	cost float64
	run  func(context.Context) error
}

// inPairs runs jobs two at a time, the costliest first, and returns the first
// error, after which no further job starts.
func inPairs(ctx context.Context, jobs []job) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	slices.SortStableFunc(jobs, func(a, b job) int { return cmp.Compare(b.cost, a.cost) })
	queue := make(chan job, len(jobs))
	for _, j := range jobs {
		queue <- j
	}
	close(queue)
	var wg sync.WaitGroup
	for range 2 {
		wg.Go(func() {
			for j := range queue {
				if ctx.Err() != nil {
					return
				}
				if err := j.run(ctx); err != nil {
					cancel(err)
				}
			}
		})
	}
	wg.Wait()
	return context.Cause(ctx)
}

// A writer makes files of recordings.
type writer struct {
	engine media.Engine
	dir    string
	scene  *Scene
	done   func(string)
	mu     sync.Mutex
}

// clip writes one camera file.
func (w *writer) clip(ctx context.Context, d *Device, path string) error {
	film := d.Film
	if film == nil {
		film = plainFilm()
	}
	sound, stop := w.samples(d)
	defer stop()
	err := w.engine.Encode(ctx, media.Encode{
		Out: path,
		Picture: &media.EncodePicture{Codec: film.Codec, Width: film.Width, Height: film.Height, Rate: film.Rate,
			Frames: film.reader(d.Length)},
		Sound: &media.EncodeSound{Codec: "aac", Rate: d.rate(), Channels: 1, Bitrate: 128000, Samples: sound},
		Args:  film.Args,
	})
	return w.tell(d, err)
}

// codecs gives each ending of a sound's name its codec.
var codecs = map[string]string{".m4a": "aac", ".mp4": "aac", ".mp3": "mp3", ".flac": "flac", ".opus": "opus", ".wav": "pcm_s16le"}

// sound writes one recorder file.
func (w *writer) sound(ctx context.Context, d *Device, path string) error {
	codec, known := codecs[strings.ToLower(filepath.Ext(path))]
	if !known {
		return &fault.Error{Kind: fault.Usage, Op: "write sound", Subject: path, Err: errors.New("no codec goes with this ending"),
			Hint: "use m4a, mp3, flac, opus or wav"}
	}
	bitrate := 0
	if codec == "aac" || codec == "mp3" || codec == "opus" {
		bitrate = 96000
	}
	sound, stop := w.samples(d)
	defer stop()
	err := w.engine.Encode(ctx, media.Encode{
		Out:   path,
		Sound: &media.EncodeSound{Codec: codec, Rate: d.rate(), Channels: 1, Bitrate: bitrate, Samples: sound},
	})
	return w.tell(d, err)
}

// tell reports a finished file.
func (w *writer) tell(d *Device, err error) error {
	if err == nil && w.done != nil {
		w.mu.Lock()
		defer w.mu.Unlock()
		w.done(d.Name)
	}
	return err
}

// rate returns Rate with its default.
func (d *Device) rate() int {
	if d.Rate == 0 {
		return 48000
	}
	return d.Rate
}

// samples returns a recording as a stream of little-endian float32; stop must
// be called when it is no longer read.
func (w *writer) samples(d *Device) (sound io.Reader, stop func()) {
	next, stop := iter.Pull(w.scene.Blocks(d, d.rate()))
	return &blockReader{next: next}, stop
}

type blockReader struct {
	next func() ([]float32, bool)
	raw  []byte
	rest []byte
}

func (r *blockReader) Read(p []byte) (int, error) {
	if len(r.rest) == 0 {
		block, ok := r.next()
		if !ok {
			return 0, io.EOF
		}
		r.raw = r.raw[:0]
		for _, v := range block {
			r.raw = binary.LittleEndian.AppendUint32(r.raw, math.Float32bits(v))
		}
		r.rest = r.raw
	}
	n := copy(p, r.rest)
	r.rest = r.rest[n:]
	return n, nil
}
