package app

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/scene"
)

// loudnessOf is the integrated loudness of a mono sound.
func loudnessOf(t *testing.T, x []float32, rate float64, stretches ...[2]int64) float64 {
	t.Helper()
	l, err := dsp.NewLoudness(rate, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range stretches {
		l.Write(x[s[0]:s[1]])
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
	both := [][2]int64{{0, 2 * clipRate}, {2.2 * clipRate, 4 * clipRate}}
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
	x := make([]float32, 160*rate)
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
	if err != nil || math.Abs(body-scratch) > 1e-6 || body == some || math.Abs(body-some) > 0.5 {
		t.Errorf("all: %g and %g, some: %g, %v", body, scratch, some, err)
	}
	if b, _, whole, err := a.Loudness(ctx, laid); err != nil || !whole || b != body {
		t.Errorf("after all is known: %g, whole %v, %v", b, whole, err)
	}
}

func TestSpreadOver(t *testing.T) {
	for _, tt := range []struct {
		stretches [][2]int64
		want      [][2]int64
		whole     bool
	}{
		{nil, nil, true},
		{[][2]int64{{5, 25}}, [][2]int64{{5, 25}}, true},
		{[][2]int64{{100, 200}}, [][2]int64{{120, 130}, {170, 180}}, false},
		{[][2]int64{{0, 25}, {1000, 1025}, {2000, 2050}}, [][2]int64{{20, 25}, {1000, 1005}, {2020, 2030}}, false},
	} {
		got, whole := spreadOver(tt.stretches, 2, 10)
		if whole != tt.whole || len(got) != len(tt.want) {
			t.Errorf("%v: %v, %v", tt.stretches, got, whole)
			continue
		}
		for i := range got {
			if got[i] != tt.want[i] {
				t.Errorf("%v: %v, want %v", tt.stretches, got, tt.want)
			}
		}
	}
}

// anHourOfTalk is speech at 16 kHz with pauses, some of them of minutes, whose
// level wanders by some decibels from minute to minute.
func anHourOfTalk(phrases [][]float32, seed uint64) []float32 {
	rng := rand.New(rand.NewPCG(seed, 3))
	out := make([]float32, 0, 3600*16000)
	level, next := 0.0, 0
	for len(out) < 3600*16000-10*16000 {
		if len(out) >= next {
			next += 60 * 16000
			level = 0.7*level + 3*rng.NormFloat64()
		}
		for _, v := range phrases[rng.IntN(len(phrases))] {
			out = append(out, v*float32(dsp.Gain(level-6)))
		}
		pause := 0.3 + rng.ExpFloat64()
		if rng.IntN(100) == 0 {
			pause += 60 * rng.Float64()
		}
		out = append(out, make([]float32, min(int(pause*16000), 3600*16000-len(out)))...)
	}
	return out
}

// What Loudness says of an hour's talk from some of it, against all of it.
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
		phrases = append(phrases, dsp.Resample(e.Samples, 1, 0, e.Rate/16000, int(e.Length()*16000)))
	}
	var off []float64
	for seed := range uint64(20) {
		talk := anHourOfTalk(phrases, seed)
		all := [2]int64{0, int64(len(talk))}
		some, whole := spreadOver([][2]int64{all}, loudPieces, 6*16000)
		if whole {
			t.Fatal("an hour is measured whole")
		}
		d := loudnessOf(t, talk, 16000, some...) - loudnessOf(t, talk, 16000, all)
		off = append(off, d)
		if math.Abs(d) > 1 {
			t.Errorf("talk %d: %+.2f LU off", seed, d)
		}
	}
	t.Logf("off by %.2f LU", off)
}
