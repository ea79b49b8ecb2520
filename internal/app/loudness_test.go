package app

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/scene"
)

// loudnessOf is the integrated loudness of a mono sound in stretches.
func loudnessOf(t *testing.T, x []float32, rate int, stretches ...covered) float64 {
	t.Helper()
	l, err := dsp.NewLoudness(float64(rate), 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range stretches {
		l.Write(x[s.from*int64(rate)/clipRate : s.to*int64(rate)/clipRate])
		l.Break()
	}
	return l.Integrated()
}

// Loudness is that of what Listen delivers where both cover; what was measured is
// kept, by where the sound lies.
func TestLoudnessOfTheSides(t *testing.T) {
	a, fake := newSwiftApp(t)
	l := lossy(0.2)
	laid := l.on(t, a)
	ctx := context.Background()
	left, right := listened(t, a, laid, 0, 0)
	both := []covered{{from: 0, to: 2 * clipRate}, {from: 2.2 * clipRate, to: 4 * clipRate}}
	wantBody, wantScratch := loudnessOf(t, left, clipRate, both...), loudnessOf(t, right, clipRate, both...)
	body, scratch, whole, err := a.Loudness(ctx, laid)
	if err != nil || !whole || math.Abs(body-wantBody) > 0.01 || math.Abs(scratch-wantScratch) > 0.01 || body > -10 || body < -40 {
		t.Errorf("%.3f and %.3f LUFS, whole %v, %v; want %.3f and %.3f", body, scratch, whole, err, wantBody, wantScratch)
	}
	fake.Before = func(context.Context, string, string) error { return errors.New("read again") }
	if b, s, whole, err := a.Loudness(ctx, laid); err != nil || !whole || b != body || s != scratch {
		t.Errorf("again: %g, %g, %v, %v", b, s, whole, err)
	}
	if b, s, err := a.LoudnessOfAll(ctx, laid); err != nil || b != body || s != scratch {
		t.Errorf("of all: %g, %g, %v", b, s, err)
	}
	moved := laid
	moved.Spans = append(moved.Spans[:0:0], moved.Spans...)
	moved.Spans[0].Offset += 1e-3 // no other loudness
	if _, _, _, err := a.Loudness(ctx, moved); err != nil {
		t.Errorf("moved by a millisecond: %v", err)
	}
	moved.Spans[0].Offset += 0.5
	if _, _, _, err := a.Loudness(ctx, moved); err == nil {
		t.Error("moved by half a second it was not measured anew")
	}
	fake.Before = nil
	moved.Spans[0].Offset, moved.Spans[1].Offset = 1000, 1000
	if b, s, whole, err := a.Loudness(ctx, moved); err != nil || !whole || !math.IsInf(b, -1) || !math.IsInf(s, -1) {
		t.Errorf("where nothing is covered: %g, %g, %v, %v", b, s, whole, err)
	}
}

// Of a long take some is measured at first, and all when that is asked for.
func TestLoudnessOfALongTake(t *testing.T) {
	if racing {
		t.Skip("arithmetic alone")
	}
	a, _ := newSwiftApp(t)
	const rate, tone = 4000, 440
	x := make([]float32, 190*rate)
	for i := range x {
		sec := float64(i) / rate
		x[i] = float32((0.3 + 0.2*math.Sin(sec/20)) * math.Sin(2*math.Pi*tone*sec))
	}
	laid := (&layout{clip: clipOf(rate, 1, x), sound: soundFile(rate, 1, x), truth: align.Alignment{}}).on(t, a)
	ctx := context.Background()
	some, _, whole, err := a.Loudness(ctx, laid)
	if err != nil || whole {
		t.Fatalf("%g, whole %v, %v, want some of it", some, whole, err)
	}
	body, scratch, err := a.LoudnessOfAll(ctx, laid)
	if err != nil || math.Abs(body-scratch) > 1e-6 || body == some || math.Abs(body-some) > 0.1 {
		t.Errorf("all: %g and %g, some: %g, %v", body, scratch, some, err)
	}
	if b, _, whole, err := a.Loudness(ctx, laid); err != nil || !whole || b != body {
		t.Errorf("after all is known: %g, whole %v, %v", b, whole, err)
	}
}

func TestSpreadOver(t *testing.T) {
	other := align.Alignment{Offset: 3}
	for _, tt := range []struct{ stretches, want []covered }{
		{[]covered{{from: 100, to: 200}}, []covered{{from: 120, to: 130}, {from: 170, to: 180}}},
		{[]covered{{from: 0, to: 25}, {1000, 1025, other}, {from: 2000, to: 2050}}, []covered{{from: 20, to: 25}, {1000, 1005, other}, {from: 2020, to: 2030}}},
	} {
		if got := spreadOver(tt.stretches, 100, 2, 10); !slices.Equal(got, tt.want) {
			t.Errorf("%v: %v, want %v", tt.stretches, got, tt.want)
		}
	}
}

func TestRefined(t *testing.T) {
	silence := math.Inf(-1)
	for _, tt := range [][4]float64{{-20, -22, -21, -19}, {-20, silence, silence, -20}, {-20, silence, -60, -20}, {silence, silence, -60, -60}, {silence, silence, silence, silence}} {
		if got := refined(tt[0], tt[1], tt[2]); got != tt[3] {
			t.Errorf("refined(%g, %g, %g) = %g, want %g", tt[0], tt[1], tt[2], got, tt[3])
		}
	}
}

// anHourOfTalk is speech at 24 kHz with pauses, some of them of a minute, whose
// level wanders by some decibels from minute to minute. Now and then somebody
// else speaks, 40 dB lower.
func anHourOfTalk(phrases [][]float32, seed uint64) []float32 {
	const rate, length = 24000, 3600 * 24000
	rng := rand.New(rand.NewPCG(seed, 3))
	out := make([]float32, 0, length)
	level, next := 0.0, 0
	for {
		if len(out) >= next {
			next += 60 * rate
			level = 0.7*level + 3*rng.NormFloat64()
		}
		gain := level - 6
		if rng.IntN(10) == 0 {
			gain -= 40
		}
		for _, v := range phrases[rng.IntN(len(phrases))] {
			out = append(out, v*float32(dsp.Gain(gain)))
		}
		pause := 0.3 + rng.ExpFloat64()
		if rng.IntN(100) == 0 {
			pause += 60 * rng.Float64()
		}
		for range int(pause * rate) {
			out = append(out, 0)
		}
		if len(out) >= length {
			return out[:length]
		}
	}
}

// What Loudness says of an hour's talk at first, against all of it. The talk has
// overtones up to 12 kHz, of which what is kept has those up to 7: recorded
// speech of 16 kHz played half as fast again.
func TestLoudnessOfSome(t *testing.T) {
	if racing {
		t.Skip("arithmetic alone")
	}
	excerpts, err := scene.Phrases()
	if err != nil {
		t.Fatal(err)
	}
	var phrases [][]float32
	for _, e := range excerpts {
		if e.Rate == 16000 {
			phrases = append(phrases, e.Samples)
		}
	}
	for _, seed := range []uint64{7} { // the worst of the first twelve
		const rate = 24000
		talk := anHourOfTalk(phrases, seed)
		kept := dsp.Resample(talk, 1, 0, rate/float64(dsp.ProxyRate), len(talk)*dsp.ProxyRate/rate)
		all := covered{from: 0, to: 3600 * clipRate}
		some := spreadOver([]covered{all}, all.to, loudPieces, loudPiece)
		exact, part := loudnessOf(t, talk, rate, all), loudnessOf(t, talk, rate, some...)
		rough, roughPart := loudnessOf(t, kept, dsp.ProxyRate, all), loudnessOf(t, kept, dsp.ProxyRate, some...)
		off := refined(rough, roughPart, part) - exact
		t.Logf("talk %d: %.2f LUFS; off by %+.3f LU, what is kept alone %+.3f, the pieces alone %+.3f", seed, exact, off, rough-exact, part-exact)
		if math.Abs(off) > 0.2 {
			t.Errorf("talk %d: %+.3f LU off", seed, off)
		}
	}
}
