package app

import (
	"bytes"
	"context"
	"math"
	"testing"

	"earshot/internal/align"
)

// bursts is a tone of an amplitude in a stretch of seconds and silence around it.
func bursts(rate int, seconds float64, amplitude float64, from, to float64) []float32 {
	out := make([]float32, int(seconds*float64(rate)))
	for i := int(from * float64(rate)); i < int(to*float64(rate)); i++ {
		out[i] = float32(amplitude * math.Sin(2*math.Pi*997*float64(i)/float64(rate)))
	}
	return out
}

// Columns show each side where it lies on the clip's clock: the body by the
// lines, nothing outside, each to its own scale, a clap neither cut nor pressing
// down the rest.
func TestMirror(t *testing.T) {
	a, _ := newSwiftApp(t)
	const n = 100 // of 0.1 s
	truth := align.Alignment{Offset: 5, Drift: 100e-6}
	body := bursts(16000, 12, 0.5, truth.Sound(2), truth.Sound(4))
	clap := int(truth.Sound(3.05) * 16000)
	for i := range 40 {
		body[clap+i] = 0.99
	}
	l := (&layout{clip: clipOf(16000, 1, bursts(16000, 10, 0.01, 6, 8)), sound: soundFile(16000, 1, body), truth: truth}).on(t, a)
	ctx := context.Background()
	m, err := a.Mirror(ctx, l, n)
	if err != nil || len(m) != 4*n {
		t.Fatalf("%d bytes, %v", len(m), err)
	}
	for i := range n {
		top, level, otherTop, otherLevel := float64(m[4*i]), float64(m[4*i+1]), float64(m[4*i+2]), float64(m[4*i+3])
		var want, other float64
		switch {
		case i == 30:
			want = 255
		case i >= 20 && i < 40:
			want = 224
		case i >= 60 && i < 80:
			other = 255
		}
		if i != 19 && i != 20 && i != 39 && i != 40 && math.Abs(top-want) > 2 || i != 30 && want > 0 && math.Abs(level-want*math.Sqrt2/2) > 12 {
			t.Errorf("column %d: body %g, %g, want %g", i, top, level, want)
		}
		if i != 59 && i != 60 && i != 79 && i != 80 && (math.Abs(otherTop-other) > 2 || math.Abs(otherLevel-other*math.Sqrt2/2) > 12) {
			t.Errorf("column %d: scratch %g, %g, want %g", i, otherTop, otherLevel, other)
		}
		if level > top || otherLevel > otherTop {
			t.Errorf("column %d: a level over its peak", i)
		}
	}
	for _, n := range []int{1, 7, 2000} { // one column, bins across columns, columns finer than bins
		m, err := a.Mirror(ctx, l, n)
		if err != nil || len(m) != 4*n {
			t.Fatalf("%d columns: %d bytes, %v", n, len(m), err)
		}
		loudest := [4]byte{}
		for i, v := range m {
			loudest[i%4] = max(loudest[i%4], v)
		}
		if loudest[0] != 255 || loudest[2] != 255 || loudest[1] == 0 || loudest[3] == 0 {
			t.Errorf("%d columns: loudest %v", n, loudest)
		}
	}
	l.ClipTrack = -1
	l.Spans[0].Offset = 1000
	if m, err = a.Mirror(ctx, l, 10); err != nil || !bytes.Equal(m, make([]byte, 40)) {
		t.Errorf("nothing on either side: %v, %v", m, err)
	}
}

// Where the recorder lost sound there is nothing, and what follows lies by its
// own line.
func TestMirrorOfALoss(t *testing.T) {
	a, _ := newSwiftApp(t)
	m, err := a.Mirror(context.Background(), lossy(0.2).on(t, a), 80) // of 50 ms
	if err != nil {
		t.Fatal(err)
	}
	for i := range 80 {
		if gap := i >= 40 && i < 44; gap != (m[4*i] == 0) || gap != (m[4*i+1] == 0) || m[4*i+2] == 0 {
			t.Errorf("column %d: % d", i, m[4*i:4*i+4])
		}
	}
}

// Heights never fall as sounds get louder, and none is cut.
func TestHeights(t *testing.T) {
	for _, tops := range [][]float64{{1}, {100, 200, 300}, {5, 5, 5, 5, 32767}, {32767, 32767}, {1000, 1100, 1130}} {
		h := heights(tops)
		loudest := 0.0
		for _, v := range tops {
			loudest = math.Max(loudest, v)
		}
		last := byte(0)
		for v := 0.0; v <= loudest; v += loudest / 1000 {
			if h(v) < last {
				t.Errorf("%v: %g stands at %d, lower than %d", tops, v, h(v), last)
			}
			last = h(v)
		}
		if want := byte(255 * math.Min(1, loudest/quietest)); h(loudest) < want-1 || h(0) != 0 {
			t.Errorf("%v: the loudest stands at %d, want %d", tops, h(loudest), want)
		}
	}
	if h := heights(make([]float64, 4)); h(0) != 0 {
		t.Error("silence stands above nothing")
	}
}
