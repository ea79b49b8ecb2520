package app

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os/exec"
	"path/filepath"
	"testing"

	"earshot/internal/dsp"
	"earshot/internal/frame"
	"earshot/internal/media"
	"earshot/internal/media/ffmpeg"
	"earshot/internal/media/mediatest"
	"earshot/internal/scene"
	"earshot/internal/shoot"
	"earshot/internal/store"
)

// newNativeApp is an App on the FFmpeg of this machine.
func newNativeApp(t testing.TB) *App {
	t.Helper()
	if _, err := exec.LookPath("ffmpeg"); err != nil {
		mediatest.Missing(t, "ffmpeg")
	}
	engine, err := ffmpeg.Open(ffmpeg.Options{Choice: "native", CacheDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { engine.Close() })
	return &App{Engine: engine, Cache: store.Open(t.TempDir(), store.DefaultLimit)}
}

// longTake is a shoot of ten minutes with speech at its beginning, in its middle
// and at its end only, no room and no noise: what two recorders hear is what the
// camera hears, 20 ms and clocks apart, by 3.7 and by 100 ppm.
func longTake(t testing.TB) *scene.Scene {
	t.Helper()
	phrases, err := scene.Phrases()
	if err != nil {
		t.Fatal(err)
	}
	const begin, length = 7.3, 606.0
	s := &scene.Scene{}
	for n, at := range []float64{begin + 0.5, begin + 3.5, begin + 300, begin + 600, begin + 602.5} {
		s.Talk = append(s.Talk, scene.Utterance{At: at, Excerpt: phrases[3*n%len(phrases)]})
	}
	s.Clips = []scene.Device{{Name: "C0001.mp4", Clock: scene.Clock{Start: begin, PPM: -5}, Length: length, Paths: []scene.Path{{Flight: 0.02}}}}
	s.Sounds = []scene.Device{
		{Name: "r1.m4a", Clock: scene.Clock{Start: 1.2345678, PPM: -1.3}, Length: length + 20, Paths: []scene.Path{{}}, Rate: 48000},
		{Name: "r2.wav", Clock: scene.Clock{Start: 5.4321, PPM: 95}, Length: length + 20, Paths: []scene.Path{{}}, Rate: 44100}}
	return s
}

// apartBy is by how many frames y comes later than x: where their
// cross-correlation peaks, by a parabola through the three highest points.
func apartBy(x, y []float32) float64 {
	const reach = 50
	r := make([]float64, 2*reach+1)
	best := 1
	for k := range r {
		for i := reach; i < len(x)-reach; i++ {
			r[k] += float64(x[i]) * float64(y[i+k-reach])
		}
		if r[k] > r[best] && k > 0 && k < 2*reach {
			best = k
		}
	}
	a, b, c := r[best-1], r[best], r[best+1]
	return float64(best-reach) + (a-c)/2/(a-2*b+c)
}

// The two microphones lie within a tenth of a frame of each other at the
// beginning of a take, in its middle and after ten minutes, whatever the clocks,
// rates and codecs: a frame is asked for.
func TestBothMicrophonesTogether(t *testing.T) {
	if racing {
		t.Skip("arithmetic and another program")
	}
	a := newNativeApp(t)
	w, err := scene.Write(context.Background(), a.Engine, t.TempDir(), longTake(t), nil)
	if err != nil {
		t.Fatal(err)
	}
	var pairs [][2][]float32
	for _, truth := range w.Truth {
		l := Laid{Clip: look(t, a, w.Clips[0]), Sound: look(t, a, w.Sounds[truth.Sound]),
			Spans: []shoot.Span{{Clip: [2]float64{0, 606}, Offset: truth.Offset, Drift: truth.Drift * 1e6}}}
		what := fmt.Sprintf("%s, %+.1f ppm", filepath.Base(l.Sound.Path()), truth.Drift*1e6)
		left, right := listened(t, a, l, 0, 0)
		if want := int(l.frames()); len(left) != want || want < 605*clipRate {
			t.Fatalf("%s: %d frames, want %d", what, len(left), want)
		}
		for _, at := range []int{0, 298, 600} {
			x, y := left[at*clipRate:(at+6)*clipRate], right[at*clipRate:(at+6)*clipRate]
			pairs = append(pairs, [2][]float32{x, y})
			by := apartBy(x, y)
			t.Logf("%s: at %d s %+.4f frames apart", what, at, by)
			if !(math.Abs(by) <= 0.1) {
				t.Errorf("%s: at %d s the scratch comes %+.3f frames after the body", what, at, by)
			}
		}
		for _, from := range []int64{299*clipRate + 17, l.frames() - 3*clipRate} {
			to := from + 3*clipRate
			x, y := listened(t, a, l, from, to)
			dx, dy := farthest(x, left[from:to]), farthest(y, right[from:to])
			t.Logf("%s: from frame %d on off by %.1f and %.1f dBFS", what, from, dsp.Decibels(dx), dsp.Decibels(dy))
			if dx > 1e-6 || dy > 1e-6 {
				t.Errorf("%s: from frame %d on off by %g and %g", what, from, dx, dy)
			}
		}
	}
	for n, by := range mediatest.Apart(t, mediatest.Band{}, pairs...) {
		if !(math.Abs(by) <= 0.1) {
			t.Errorf("SciPy says that in pair %d the scratch comes %+.3f frames after the body", n, by)
		}
	}
}

// Samples are those of the whole, at any place. AAC here does without its noise
// substitution: what stands in for noise is made up anew each time.
func TestSamplesOfCodecs(t *testing.T) {
	a := newNativeApp(t)
	dir := t.TempDir()
	for _, tt := range []struct {
		name, codec    string
		rate, channels int
		within         float64
	}{{"a.wav", "pcm_s16le", 44100, 2, 0}, {"b.m4a", "aac", 48000, 2, 1e-6}, {"c.flac", "flac", 48000, 3, 0}, {"d.mp3", "mp3", 44100, 1, 1e-6}} {
		path := filepath.Join(dir, tt.name)
		in := melody.record(tt.rate, 9, func(s float64) float64 { return s }, []float64{1, 0.5, 0.25}[:tt.channels]...)
		var args []string
		if tt.codec == "aac" {
			args = []string{"-aac_pns", "0"}
		}
		err := a.Engine.Encode(context.Background(), media.Encode{Out: path, Args: args,
			Sound: &media.EncodeSound{Codec: tt.codec, Rate: tt.rate, Channels: tt.channels, Samples: newSampleReader(in)}})
		if err != nil {
			t.Fatal(err)
		}
		r := look(t, a, path)
		var whole []float32
		err = a.Engine.Decode(context.Background(), media.Decode{Path: path, Mono: true}, func(b []float32) error {
			whole = append(whole, b...)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		for _, at := range []int{0, 999, 5*tt.rate + 3, len(whole) - 500, len(whole) + 100} {
			got, rate, err := a.Samples(context.Background(), r, 0, int64(at), 1000)
			if err != nil || rate != tt.rate {
				t.Errorf("%s: at %d: %d Hz, %v", tt.name, at, rate, err)
				continue
			}
			want := whole[min(at, len(whole)):min(at+1000, len(whole))]
			if d := farthest(got, want); d > tt.within {
				t.Errorf("%s: %d samples from %d on, want %d; off by %g", tt.name, len(got), at, len(want), d)
			}
		}
	}
}

// BenchmarkListen tells how many seconds of both microphones are delivered in a
// second: a camera's AAC and a recorder's WAV at 44.1 kHz, with drift. The first
// block is timed by itself.
func BenchmarkListen(b *testing.B) {
	a := newNativeApp(b)
	const seconds = 300
	dir, ctx := b.TempDir(), context.Background()
	clip, sound := filepath.Join(dir, "C1.mp4"), filepath.Join(dir, "r1.wav")
	ten := melody.record(48000, 10, func(s float64) float64 { return s }, 1)
	var x []float32
	for range seconds / 10 {
		x = append(x, ten...)
	}
	pictures := make([]byte, 64*36*3/2*seconds)
	for out, enc := range map[string]media.Encode{
		clip: {Picture: &media.EncodePicture{Codec: "mpeg4", Width: 64, Height: 36, Rate: frame.Rate{Num: 1, Den: 1}, Frames: bytes.NewReader(pictures)},
			Sound: &media.EncodeSound{Codec: "aac", Rate: 48000, Channels: 1, Samples: newSampleReader(x)}},
		sound: {Sound: &media.EncodeSound{Codec: "pcm_s16le", Rate: 44100, Channels: 1, Samples: newSampleReader(x)}},
	} {
		enc.Out = out
		if err := a.Engine.Encode(ctx, enc); err != nil {
			b.Fatal(err)
		}
	}
	var l Laid
	for path, r := range map[string]**Recording{clip: &l.Clip, sound: &l.Sound} {
		var err error
		if *r, err = a.Look(ctx, path); err != nil {
			b.Fatal(err)
		}
	}
	l.Spans = []shoot.Span{{Clip: [2]float64{0, seconds}, Drift: 30}}
	enough := errors.New("enough")
	b.Run("first block", func(b *testing.B) {
		for b.Loop() {
			if err := a.Listen(ctx, l, 100*clipRate, 0, func([]float32) error { return enough }); err != enough {
				b.Fatal(err)
			}
		}
	})
	b.Run("all", func(b *testing.B) {
		frames := 0
		for b.Loop() {
			err := a.Listen(ctx, l, 0, 0, func(block []float32) error {
				frames += len(block) / 2
				return nil
			})
			if err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(frames)/clipRate/b.Elapsed().Seconds(), "s/s")
	})
}
