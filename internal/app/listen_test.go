package app

import (
	"context"
	"errors"
	"math"
	"path/filepath"
	"runtime"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/fault"
	"earshot/internal/media"
	"earshot/internal/shoot"
)

// on is a layout as two files that were looked at.
func (l *layout) on(t *testing.T, a *App) Laid {
	t.Helper()
	dir := t.TempDir()
	clip, sound := filepath.Join(dir, "C0001.MP4"), filepath.Join(dir, "r1.wav")
	writeFake(t, clip, l.clip)
	writeFake(t, sound, l.sound)
	laid := Laid{Clip: look(t, a, clip), Sound: look(t, a, sound), ClipTrack: l.clipTrack, SoundTrack: l.soundTrack}
	found := &align.Found{Alignment: l.truth, To: laid.Clip.Length(), Spans: l.spans}
	laid.Spans = spansOf(found)
	return laid
}

func look(t *testing.T, a *App, path string) *Recording {
	t.Helper()
	r, err := a.Look(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// listened is what Listen delivers, a side each.
func listened(t *testing.T, a *App, l Laid, from, to int64) (left, right []float32) {
	t.Helper()
	err := a.Listen(context.Background(), l, from, to, func(block []float32) error {
		if len(block) == 0 || len(block)%2 != 0 || len(block) > 2*listenBlock {
			t.Errorf("a block of %d samples", len(block))
		}
		for i := 0; i+1 < len(block); i += 2 {
			left, right = append(left, block[i]), append(right, block[i+1])
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return left, right
}

// monoOf mixes interleaved channels to one.
func monoOf(x []float32, channels int) []float32 {
	out := make([]float32, len(x)/channels)
	for i := range out {
		for _, v := range x[i*channels:][:channels] {
			out[i] += v / float32(channels)
		}
	}
	return out
}

// farthest is the greatest difference of two sounds.
func farthest(x, y []float32) float64 {
	if len(x) != len(y) {
		return math.Inf(1)
	}
	d := 0.0
	for i := range x {
		d = math.Max(d, math.Abs(float64(x[i])-float64(y[i])))
	}
	return d
}

// lossy is a layout of a recorder that lost sound at clip second 2; negative: it
// repeated some.
func lossy(lost float64) *layout {
	return &layout{truth: align.Alignment{Offset: 1}, gaps: "silence",
		clip: clipOf(48000, 1, melody.record(48000, 4, func(s float64) float64 { return s + 1 }, 1)),
		sound: soundFile(44100, 1, melody.record(44100, 6, func(s float64) float64 {
			if s >= 3 {
				return s + lost
			}
			return s
		}, 1)),
		spans: []align.Span{{From: 0, To: 2, Alignment: align.Alignment{Offset: 1}},
			{From: 2 + math.Max(0, lost), To: 4, Alignment: align.Alignment{Offset: 1 - lost}, Lost: lost}}}
}

// Left is the finished clip's good sound, with silence for fills: bit for bit of
// one channel, and of two their mean. Right is the clip's own sound.
func TestListenIsTheFinishedClip(t *testing.T) {
	layouts := map[string]*layout{"lost 200 ms": lossy(0.2), "lost 30 ms": lossy(0.03), "repeated 150 ms": lossy(-0.15), "lost 1 ms": lossy(0.001)}
	cases := scoreCases
	if racing {
		layouts, cases = map[string]*layout{"lost 1 ms": lossy(0.001)}, cases[4:5]
	}
	for _, c := range cases {
		c.gaps = "silence"
		layouts[c.name] = c.layout()
	}
	for name, l := range layouts {
		t.Run(name, func(t *testing.T) {
			want, s, _, err := l.played(t)
			if err != nil {
				t.Fatal(err)
			}
			a, _ := newSwiftApp(t)
			left, right := listened(t, a, l.on(t, a), 0, 0)
			within := 0.0
			if s.channels > 1 {
				within = 1e-7
			}
			if d := farthest(left, monoOf(want, s.channels)); d > within {
				t.Errorf("%d frames, the finished clip has %d; they differ by up to %g", len(left), len(want)/s.channels, d)
			}
			scratch := make([]float32, len(left))
			copy(scratch, monoOf(l.clip.Sounds[l.clipTrack], l.clip.Info.Sounds[l.clipTrack].Channels))
			if d := farthest(right, scratch); d > 1e-7 {
				t.Errorf("the scratch differs by up to %g", d)
			}
		})
	}
}

// Beginning anywhere, within a fade too, and ending anywhere gives what the
// whole has there, -120 dBFS apart at most.
func TestListenFromAnywhere(t *testing.T) {
	both := scoreCases[slices.IndexFunc(scoreCases, func(c scoreCase) bool { return c.name == "stereo over mono" })]
	tail := scoreCases[slices.IndexFunc(scoreCases, func(c scoreCase) bool { return c.name == "gap at the tail" })]
	for name, l := range map[string]*layout{"lost 200 ms": lossy(0.2), "lost 1 ms": lossy(0.001), "gaps": both.layout(), "44.1 kHz": tail.layout()} {
		if racing && name != "lost 1 ms" {
			continue
		}
		a, _ := newSwiftApp(t)
		laid := l.on(t, a)
		left, right := listened(t, a, laid, 0, 0)
		total := int64(len(left))
		var ranges [][2]int64
		for _, at := range []int64{0, 1, 4095, 24000, 26399, 2*clipRate - 2401, 2*clipRate - 2399, 2*clipRate - 241, 2*clipRate - 100, 2 * clipRate,
			2*clipRate + 100, 2*clipRate + 241, 2*clipRate + 9600, 2*clipRate + 9601 + 1200, total - 4000, total - 1} {
			ranges = append(ranges, [2]int64{at, 0}, [2]int64{at, at + 1}, [2]int64{at, at + 3000}, [2]int64{max(0, at-3000), at})
		}
		if racing {
			ranges = ranges[24:32]
		}
		for _, r := range ranges {
			from, to := r[0], r[1]
			if from >= total || to == 0 && from == 0 {
				continue
			}
			x, y := listened(t, a, laid, from, to)
			if to == 0 || to > total {
				to = total
			}
			if to < from {
				to = from
			}
			if dx, dy := farthest(x, left[from:to]), farthest(y, right[from:to]); dx > 1e-6 || dy > 1e-6 {
				t.Errorf("%s, frames %d to %d: %d of them, off by %g and %g", name, from, to, len(x), dx, dy)
			}
		}
		if x, y := listened(t, a, laid, total, 0); len(x)+len(y) != 0 {
			t.Errorf("%s: %d frames after the end", name, len(x))
		}
	}
}

// A gauged engine counts the frames it has handed out.
type gauged struct {
	swift
	frames atomic.Int64
}

func (e *gauged) Decode(ctx context.Context, req media.Decode, fn func([]float32) error) error {
	return e.swift.Decode(ctx, req, func(b []float32) error {
		e.frames.Add(int64(len(b)))
		return fn(b)
	})
}

// Listen goes no further ahead than it says, and stops when it is told to, in
// any of three ways, with nothing left running.
func TestListenStops(t *testing.T) {
	a, fake := newSwiftApp(t)
	x := melody.record(48000, 8, func(s float64) float64 { return s }, 1)
	l := &layout{clip: clipOf(48000, 1, x), sound: soundFile(48000, 1, x), truth: align.Alignment{Drift: 20e-6}}
	laid := l.on(t, a)
	e := &gauged{swift: swift{fake}}
	a.Engine = e
	enough := errors.New("enough")
	before := runtime.NumGoroutine()
	for _, tt := range []struct {
		name string
		want error
	}{{"fn's error", enough}, {"cancelled in fn", context.Canceled}, {"cancelled from outside", context.Canceled}} {
		ctx, cancel := context.WithCancel(context.Background())
		e.frames.Store(0)
		blocks := 0
		err := a.Listen(ctx, laid, 1000, 0, func([]float32) error {
			blocks++
			if blocks < 3 {
				return nil
			}
			switch tt.name {
			case "fn's error":
				return enough
			case "cancelled in fn":
				cancel()
				return nil
			}
			go cancel()
			time.Sleep(50 * time.Millisecond) // the feeds fill up meanwhile
			return nil
		})
		cancel()
		if !errors.Is(err, tt.want) {
			t.Errorf("%s: %v", tt.name, err)
		}
		if most := int64(2 * (blocks + ahead + 4) * listenBlock); e.frames.Load() > most {
			t.Errorf("%s: %d frames were decoded for %d blocks, want %d at most", tt.name, e.frames.Load(), blocks, most)
		}
		settles(t, before)
	}
	broken := &fault.Error{Kind: fault.Unreadable, Op: "read sound", Err: errors.New("the card was pulled out")}
	fake.Before = func(_ context.Context, op, path string) error {
		if op == "decode" && path == laid.Clip.Path() {
			return broken
		}
		return nil
	}
	if err := a.Listen(context.Background(), laid, 0, 0, func([]float32) error { return nil }); err != error(broken) {
		t.Errorf("a side that breaks off: %v", err)
	}
	settles(t, before)
}

// What makes no sense is refused in words, whatever is asked.
func TestSenselessAsks(t *testing.T) {
	a, _ := newSwiftApp(t)
	x := melody.record(16000, 2, func(s float64) float64 { return s }, 1)
	good := (&layout{clip: clipOf(16000, 1, x), sound: soundFile(16000, 1, x)}).on(t, a)
	ctx := context.Background()
	line := func(s ...shoot.Span) func(l *Laid) { return func(l *Laid) { l.Spans = s } }
	for name, change := range map[string]func(l *Laid){
		"no clip": func(l *Laid) { l.Clip = nil }, "no sound": func(l *Laid) { l.Sound = nil },
		"no such clip track": func(l *Laid) { l.ClipTrack = 1 }, "no such sound track": func(l *Laid) { l.SoundTrack = -1 },
		"no line": line(), "no number": line(shoot.Span{Offset: math.NaN()}), "endless": line(shoot.Span{Drift: math.Inf(1)}),
		"years away": line(shoot.Span{Offset: -1e9}), "backwards": line(shoot.Span{Drift: -2e6}),
		"span of no number": line(shoot.Span{Clip: [2]float64{math.NaN(), 1}}), "span turned round": line(shoot.Span{Clip: [2]float64{2, 1}}),
		"spans that overlap": line(shoot.Span{Clip: [2]float64{0, 2}}, shoot.Span{Clip: [2]float64{1, 3}}),
	} {
		l := good
		change(&l)
		_, mirror := a.Mirror(ctx, l, 10)
		_, _, _, loudness := a.Loudness(ctx, l)
		for what, err := range map[string]error{"Listen": a.Listen(ctx, l, 0, 0, func([]float32) error { return nil }), "Mirror": mirror, "Loudness": loudness} {
			if fault.KindOf(err) != fault.Usage || fault.HintOf(err) == "" {
				t.Errorf("%s, %s: %v", what, name, err)
			}
		}
	}
	for _, n := range []int{0, -1, mostColumns + 1} {
		if _, err := a.Mirror(ctx, good, n); fault.KindOf(err) != fault.Usage {
			t.Errorf("a mirror of %d columns: %v", n, err)
		}
	}
	for _, r := range [][2]int64{{-1, 0}, {0, -1}} {
		if err := a.Listen(ctx, good, r[0], r[1], nil); fault.KindOf(err) != fault.Usage {
			t.Errorf("frames %v: %v", r, err)
		}
	}
	for _, p := range [][4]int{{1, 0, 0, 1}, {-1, 0, 0, 1}, {0, 7, 0, 1}, {0, -1, 0, 1}, {0, 0, -1, 1}, {0, 0, 0, -1}} {
		if _, _, err := a.Peaks(ctx, good.Sound, p[0], p[1], p[2], p[3]); fault.KindOf(err) != fault.Usage {
			t.Errorf("peaks %v: %v", p, err)
		}
	}
	for _, p := range [][3]int64{{1, 0, 1}, {0, -1, 1}, {0, 0, -1}, {0, math.MaxInt64, 1}} {
		if _, _, err := a.Samples(ctx, good.Sound, int(p[0]), p[1], int(p[2])); fault.KindOf(err) != fault.Usage {
			t.Errorf("samples %v: %v", p, err)
		}
	}
	if _, err := a.Look(ctx, filepath.Join(t.TempDir(), "none.wav")); fault.KindOf(err) != fault.Unreadable {
		t.Errorf("a file that is not there: %v", err)
	}
}

// A clip without sound of its own is silent on the right, a sound that lies
// nowhere in the clip on the left.
func TestListenToOneSide(t *testing.T) {
	a, _ := newSwiftApp(t)
	x := melody.record(48000, 2, func(s float64) float64 { return s }, 1)
	l := (&layout{clip: clipOf(48000, 1, x), sound: soundFile(48000, 1, x)}).on(t, a)
	loudest := func(x []float32) float64 { return dsp.Peak(x) }
	l.ClipTrack = -1
	if x, y := listened(t, a, l, 0, 0); loudest(x) < 0.1 || loudest(y) != 0 || len(x) != 2*clipRate {
		t.Errorf("%d frames, loudest %g and %g", len(x), loudest(x), loudest(y))
	}
	l.ClipTrack = 0
	l.Spans[0].Offset = 100
	if x, y := listened(t, a, l, 0, 0); loudest(x) != 0 || loudest(y) < 0.1 || len(x) != 2*clipRate {
		t.Errorf("%d frames, loudest %g and %g", len(x), loudest(x), loudest(y))
	}
}
