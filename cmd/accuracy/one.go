package main

import (
	"cmp"
	"context"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"

	"earshot/internal/align"
	"earshot/internal/app"
	"earshot/internal/dsp"
	"earshot/internal/frame"
	"earshot/internal/media"
	"earshot/internal/media/mediatest"
	"earshot/internal/scene"
	"earshot/internal/shoot"
	"earshot/internal/store"
)

// A result is what became of one couple. Errors are in milliseconds, of the
// sound's time in the middle of the clip.
type result struct {
	found, sure, right bool
	middle, worst      float64                      // worst is at an end of the clip
	drift              float64                      // ppm
	sigmas             float64                      // how many of the stated ones the error at clip time 0 is
	driftSigmas        float64                      // the same of the drift
	why                []string                     // what the program says of it
	others             [len(yardsticks) + 1]float64 // of the yardsticks, and by hand
}

// wrongBy is how far off a couple must be laid at either end to count as wrong,
// in milliseconds.
const wrongBy = 1.0

// one makes a couple, pairs it and holds the outcome against the truth.
func (r *rig) one(ctx context.Context, c scene.Couple, through codec) (result, error) {
	s := c.Scene(r.phrases)
	rate := cmp.Or(c.Rate, dsp.ProxyRate)
	file := s.Render(&s.Sounds[0], rate)
	var clip []float32
	if through.name == "" {
		clip = s.Render(&s.Clips[0], dsp.ProxyRate)
	} else {
		coded, err := through.code(ctx, s.Render(&s.Clips[0], rate), rate)
		if err != nil {
			return result{}, err
		}
		if file, err = through.code(ctx, file, rate); err != nil {
			return result{}, err
		}
		clip = proxied(coded, rate)
	}
	sound := proxied(file, rate)
	p := s.Truth()[0]
	truth := align.Alignment{Offset: p.Offset, Drift: p.Drift}
	take, err := pair(ctx, clip, file, rate)
	if err != nil {
		return result{}, err
	}
	var out result
	middle := c.Length / 2
	for i := range yardsticks {
		if r.ours {
			break
		}
		y := yardsticks[i]
		out.others[i] = (y.measure(clip, sound) - truth.Sound(middle)) * 1e3
	}
	out.others[len(yardsticks)] = handLaid(c, p)
	if take == nil {
		return out, nil
	}
	found := align.Alignment{Offset: take.Offset, Drift: take.Drift * 1e-6}
	off := func(t float64) float64 { return (found.Sound(t) - truth.Sound(t)) * 1e3 }
	out.middle, out.worst = off(middle), math.Max(math.Abs(off(0)), math.Abs(off(c.Length)))
	out.found, out.sure, out.right = true, take.Verdict == shoot.Sure, out.worst <= wrongBy
	out.drift, out.why = take.Drift-p.Drift*1e6, take.Why
	out.sigmas = math.Abs(off(0)) * 1e-3 / take.OffsetSigma
	out.driftSigmas = math.Abs(out.drift) / take.DriftSigma
	return out, nil
}

// proxied is a file's samples at the rate that is compared at.
func proxied(file []float32, rate int) []float32 {
	if rate == dsp.ProxyRate {
		return file
	}
	return dsp.Resample(file, 1, 0, float64(rate)/dsp.ProxyRate, len(file)*dsp.ProxyRate/rate)
}

// handLaid is the error in the middle of a clip of a person who lays the clap
// to the nearest picture of 25 a second and leaves the drift.
func handLaid(c scene.Couple, p scene.Pair) float64 {
	clap := 0.0
	if len(p.ClipClaps) > 0 {
		clap = p.ClipClaps[0]
	}
	half := 20 * (2*rand.New(rand.NewPCG(c.Seed, 99)).Float64() - 1) // ms
	return half - p.Drift*(c.Length/2-clap)*1e3
}

// pair pairs one clip with one sound as the program would, from samples: the
// clip's at the rate that is compared at. It returns nil when there is no take.
func pair(ctx context.Context, clip, sound []float32, rate int) (*shoot.Take, error) {
	dir, err := os.MkdirTemp("", "accuracy-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	picture := media.Picture{Codec: "h264", Width: 480, Height: 270, Rate: frame.Rate{Num: 25, Den: 1}}
	files := map[string]mediatest.File{
		"clip":  mediatest.Clip(picture, dsp.ProxyRate, 1, time.Time{}, clip, []byte("picture")),
		"sound": mediatest.Sound(rate, 1, time.Time{}, sound),
	}
	for name, f := range files {
		if err := mediatest.Write(filepath.Join(dir, name), f); err != nil {
			return nil, err
		}
	}
	a := &app.App{Engine: &mediatest.Fake{}, Cache: store.Open(filepath.Join(dir, "cache"), store.DefaultLimit)}
	res, err := a.Pair(ctx, app.PairOptions{Paths: []string{filepath.Join(dir, "clip"), filepath.Join(dir, "sound")}})
	if err != nil || len(res.Document.Takes) == 0 {
		return nil, err
	}
	return &res.Document.Takes[0], nil
}
