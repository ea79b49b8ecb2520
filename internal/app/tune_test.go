package app

import (
	"context"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/media"
	"earshot/internal/media/mediatest"
)

// A tune is a sum of sines, dense enough to have one place only, and known at
// any time exactly: closed form.
type tune struct{ freq, phase []float64 }

// newTune makes one of n sines between 80 Hz and top.
func newTune(seed uint64, n int, top float64) tune {
	rng := rand.New(rand.NewPCG(seed, 7))
	var t tune
	for range n {
		t.freq = append(t.freq, 80+(top-80)*rng.Float64())
		t.phase = append(t.phase, 2*math.Pi*rng.Float64())
	}
	return t
}

// at is the tune at a time in seconds; its RMS is 0.1.
func (t tune) at(sec float64) float64 {
	var v float64
	for i, f := range t.freq {
		v += math.Sin(2*math.Pi*f*sec + t.phase[i])
	}
	return 0.1 * v / math.Sqrt(float64(len(t.freq))/2)
}

// record is the tune as a device at rate with channels hears it: sample n at
// time when(n/rate), channel c times gains[c].
func (t tune) record(rate int, seconds float64, when func(float64) float64, gains ...float64) []float32 {
	n := int(math.Round(seconds * float64(rate)))
	out := make([]float32, 0, n*len(gains))
	for i := range n {
		v := t.at(when(float64(i) / float64(rate)))
		for _, g := range gains {
			out = append(out, float32(g*v))
		}
	}
	return out
}

// A swift engine is the fake with a fast resampler of good quality.
type swift struct{ *mediatest.Fake }

func (e swift) Decode(ctx context.Context, req media.Decode, fn func([]float32) error) error {
	info, err := e.Probe(ctx, req.Path)
	if err != nil {
		return err
	}
	if req.Stream >= len(info.Sounds) || req.Rate == 0 || req.Rate == info.Sounds[req.Stream].Rate {
		return e.Fake.Decode(ctx, req, fn)
	}
	channels := info.Sounds[req.Stream].Channels
	if req.Mono {
		channels = 1
	}
	res := dsp.NewResampler(channels, 0, float64(info.Sounds[req.Stream].Rate)/float64(req.Rate))
	req.Rate = 0
	if err := e.Fake.Decode(ctx, req, func(b []float32) error { return res.Write(b, fn) }); err != nil {
		return err
	}
	return res.Flush(fn)
}

// newSwiftApp is newApp for recordings at the rates of real ones.
func newSwiftApp(t *testing.T) (*App, *mediatest.Fake) {
	a, fake := newApp(t)
	a.Engine = swift{fake}
	return a, fake
}

// tracked puts further sound streams behind, or with front before, a file's
// own.
func tracked(f mediatest.File, front bool, rate, channels int, samples []float32) mediatest.File {
	s := media.Sound{Codec: "pcm_f32le", Rate: rate, Channels: channels, Bits: 32, Duration: float64(len(samples)/channels) / float64(rate)}
	if front {
		f.Info.Sounds = append([]media.Sound{s}, f.Info.Sounds...)
		f.Sounds = append([][]float32{samples}, f.Sounds...)
	} else {
		f.Info.Sounds = append(f.Info.Sounds, s)
		f.Sounds = append(f.Sounds, samples)
	}
	first := 0
	if f.Info.HasPicture() {
		first = 1
	}
	for i := range f.Info.Sounds {
		f.Info.Sounds[i].Stream = first + i
	}
	return f
}

// A layout is a clip and a sound whose place is known, to be laid out without
// being measured.
type layout struct {
	clip, sound           mediatest.File
	clipTrack, soundTrack int
	truth                 align.Alignment
	gaps                  string
	earlier               float64
	spans                 []align.Span // where one line does not hold
}

// played is the finished sound of a layout: interleaved samples, its score and
// what was said of the gaps.
func (l *layout) played(t *testing.T) ([]float32, *score, Married, error) {
	t.Helper()
	a, _ := newSwiftApp(t)
	dir := t.TempDir()
	ctx := context.Background()
	read := func(name string, f mediatest.File) *recording {
		path := filepath.Join(dir, name)
		writeFake(t, path, f)
		rec, err := (&reader{app: a, tell: newTeller(nil)}).read(ctx, path)
		if err != nil {
			t.Fatal(err)
		}
		return rec
	}
	take := &dayTake{clip: read("C0001.MP4", l.clip), sound: read("r1.wav", l.sound)}
	take.link = &link{ClipTrack: l.clipTrack, SoundTrack: l.soundTrack}
	take.found.Alignment = l.truth
	heard := func(r *recording, track int) float64 { return float64(r.tracks[track].Samples) / dsp.ProxyRate }
	take.found.From, take.found.To = l.truth.Covered(heard(take.clip, l.clipTrack), heard(take.sound, l.soundTrack))
	take.found.Spans = l.spans
	opt := MarryOptions{To: dir, Gaps: l.gaps}
	if err := opt.complete(); err != nil {
		t.Fatal(err)
	}
	w := &wedding{take: take, made: provenance{earlier: l.earlier}}
	m := &marriage{app: a, opt: opt, tell: newTeller(nil)}
	s, err := m.score(ctx, w)
	if err != nil {
		return nil, nil, w.out, err
	}
	out := filepath.Join(dir, "finished.mov")
	plan := media.Plan{Clip: take.clip.path, Info: take.clip.info, Out: out, Container: "mov",
		Sound: media.Track{Codec: "pcm_s24le", Rate: clipRate, Channels: s.channels}}
	if err := a.render(ctx, plan, s); err != nil {
		return nil, nil, w.out, err
	}
	return soundOf(t, a, out, 0), s, w.out, nil
}

// soundOf is all of a file's sound stream.
func soundOf(t *testing.T, a *App, path string, stream int) []float32 {
	t.Helper()
	var all []float32
	err := a.Engine.Decode(context.Background(), media.Decode{Path: path, Stream: stream}, func(b []float32) error {
		all = append(all, b...)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// clipOf and soundFile are files of the fake's with nothing said beside.
func clipOf(rate, channels int, samples []float32) mediatest.File {
	return mediatest.Clip(picture, rate, channels, time.Time{}, samples, []byte("picture"))
}

func soundFile(rate, channels int, samples []float32) mediatest.File {
	return mediatest.Sound(rate, channels, time.Time{}, samples)
}
