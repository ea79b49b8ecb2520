package app

import (
	"context"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/media/mediatest"
	"earshot/internal/scene"
	"earshot/internal/shoot"
)

// A recorder that lost or repeated sound at its second 3, in a clip that began
// a second later: what plays is the melody at the clip's own time, in closed
// form, but for the crossfades and what nobody recorded.
func TestLossesAreMended(t *testing.T) {
	for _, tt := range []struct {
		name    string
		lost    float64 // seconds; negative: repeated
		earlier float64
		gaps    string
		fills   int
	}{
		{name: "lost", lost: 0.2, fills: 1},
		{name: "lost, moved earlier", lost: 0.2, earlier: 0.0087, fills: 1},
		{name: "lost, silence", lost: 0.2, gaps: "silence", fills: 1},
		{name: "lost, less than a fade", lost: 0.03},
		{name: "repeated", lost: -0.15},
		{name: "a millisecond", lost: 0.001},
	} {
		t.Run(tt.name, func(t *testing.T) {
			l := &layout{truth: align.Alignment{Offset: 1}, gaps: tt.gaps, earlier: tt.earlier,
				clip: clipOf(48000, 1, melody.record(48000, 4, func(s float64) float64 { return s + 1 }, 1)),
				sound: soundFile(48000, 1, melody.record(48000, 6, func(s float64) float64 {
					if s >= 3 {
						return s + tt.lost
					}
					return s
				}, 1)),
				spans: []align.Span{{From: 0, To: 2, Alignment: align.Alignment{Offset: 1}},
					{From: 2 + math.Max(0, tt.lost), To: 4, Alignment: align.Alignment{Offset: 1 - tt.lost}, Lost: tt.lost}}}
			got, _, said, err := l.played(t)
			if err != nil {
				t.Fatal(err)
			}
			if len(said.Fills) != tt.fills || len(got) != 4*clipRate {
				t.Fatalf("fills %+v, %d frames, want %d fills", said.Fills, len(got), tt.fills)
			}
			from, to := 2-tt.earlier, 2-tt.earlier+math.Max(0, tt.lost)
			for i, v := range got {
				sec := float64(i) / clipRate
				want := melody.at(sec + 1 + tt.earlier)
				switch {
				case sec > from-0.051 && sec < to+0.051 && tt.fills > 0:
					if tt.gaps == "silence" && sec > from+0.001 && sec < to-0.001 && v != 0 {
						t.Fatalf("%.3f at %.4f s, want silence", v, sec)
					}
					if tt.gaps != "" || sec < from || sec > to {
						continue
					}
					want = melody.at(sec + 1) // the scratch stays where it was
				case sec > (from+to)/2-0.0051-math.Max(0, tt.lost)/2 && sec < (from+to)/2+0.0051+math.Max(0, tt.lost)/2:
					continue
				}
				if math.Abs(float64(v)-want) > 0.004 {
					t.Fatalf("%.4f at %.4f s, want %.4f", v, sec, want)
				}
			}
			for i := 1; i < len(got); i++ { // twice what the melody's own steps come to
				if step := math.Abs(float64(got[i] - got[i-1])); step > 0.6 {
					t.Fatalf("a click of %.2f at %.4f s", step, float64(i)/clipRate)
				}
			}
		})
	}
}

// A line too short for its fades is passed over; the ends stay covered.
func TestShortLines(t *testing.T) {
	v := &voice{good: true}
	lines := []part{{0, 100000, v}, {100000, 104000, v}, {104000, 200000, v}}
	out := laidBetween(lines, 0, 200000)
	if len(out) != 2 || out[0].from != 0 || out[0].to != 100000 || out[1].from != 104000 || out[1].to != 200000 {
		t.Errorf("%+v", out)
	}
	if out = laidBetween(lines[1:], 100000, 200000); len(out) != 1 || out[0].from != 100000 {
		t.Errorf("%+v, want the long line alone", out)
	}
}

// From the recordings to the finished clip: a recorder that lost 220 ms. The
// take is sure, both parts lie where they belong, it is said in words, and the
// finished clip is proved.
func TestLossFromEndToEnd(t *testing.T) {
	if racing {
		t.Skip("arithmetic alone")
	}
	phrases, err := scene.Phrases()
	if err != nil {
		t.Fatal(err)
	}
	s := scene.Couple{Seed: 4, Length: 40, PPM: 30, Noise: scene.Pink, SNR: 12, RT60: 0.4, Losses: []scene.Loss{{At: 17, Seconds: 0.22}}}.Scene(phrases)
	dir := t.TempDir()
	writeFake(t, filepath.Join(dir, "C1.MP4"), mediatest.Clip(picture, dsp.ProxyRate, 1, time.Time{}, s.Render(&s.Clips[0], dsp.ProxyRate), []byte("p")))
	writeFake(t, filepath.Join(dir, "r1.wav"), mediatest.Sound(dsp.ProxyRate, 1, time.Time{}, s.Render(&s.Sounds[0], dsp.ProxyRate)))
	a, _ := newSwiftApp(t)
	result, err := a.Marry(context.Background(), MarryOptions{Paths: []string{dir}, To: filepath.Join(dir, "married")})
	if err != nil {
		t.Fatal(err)
	}
	take := result.Clips[0].Take
	if take.Verdict != shoot.Sure || len(take.Spans) != 2 {
		t.Fatalf("%s, spans %+v, want sure and two", take.Verdict, take.Spans)
	}
	for _, at := range []float64{1, 10, 16, 18.5, 30, 39} {
		truth, _ := s.SoundTime(0, 0, at)
		line := take.Spans[0]
		if at > 17 {
			line = take.Spans[1]
		}
		if off := line.Offset + (1+line.Drift*1e-6)*at - truth; math.Abs(off) > 50e-6 {
			t.Errorf("at %g s off by %.3f ms", at, off*1e3)
		}
	}
	if why := strings.Join(take.Why, "; "); !strings.Contains(why, "the recorder lost 220 ms at 0:1") {
		t.Errorf("why: %s", why)
	}
	c := result.Clips[0]
	if c.State != Written || c.Proof == nil || c.Proof.State != InSync || len(c.Fills) != 1 {
		t.Errorf("%s (%s), proof %+v, fills %+v", c.State, c.Error, c.Proof, c.Fills)
	}
	again, err := a.Marry(context.Background(), MarryOptions{Paths: []string{dir}, To: filepath.Join(dir, "married")})
	if err != nil || again.Clips[0].State != Kept {
		t.Errorf("a second run: %+v, %v, want it kept", again.Clips, err)
	}
}

// Places and lengths are told as people say them.
func TestSpanWords(t *testing.T) {
	f := &align.Found{Spans: []align.Span{{To: 83.4}, {From: 83.437, To: 700, Lost: 0.037}, {From: 700, To: 900, Lost: -0.0012}}}
	got := strings.Join(spansWhy(f), "; ")
	for _, want := range []string{"the recorder lost 37 ms at 1:23.4", "repeated 1.2 ms at 11:40.0"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q, want %q in it", got, want)
		}
	}
}

// Where a recorder loses a few milliseconds while somebody speaks, either line fits
// on both sides to some degree: by a reflection as late as the loss is long, and
// because what was said before still sounds in the room after.
func TestCutsStandWhereSoundWasLost(t *testing.T) {
	for _, c := range []scene.Couple{
		{Seed: 220033, Length: 110.74525196796934, PPM: 61.349369413708445, Noise: scene.Pink, SNR: 23.04090228944201,
			RT60: 0.2538708111400136, DRR: -0.026326883580479077, AGC: true, Losses: []scene.Loss{{At: 32.671648625021476, Seconds: 0.0010625}}},
		{Seed: 220009, Length: 130.87906366922144, PPM: -1.3211350579929757, Noise: scene.Traffic, SNR: 13.321925287719656,
			RT60: 0.37896505843532535, DRR: -9.59840383231912, Losses: []scene.Loss{{At: 55.36245109887726, Seconds: -0.0081875}, {At: 82.73363983798932, Seconds: 0.0025}}},
		{Seed: 220113, Length: 131.3976161071395, PPM: 53.83522291625178, Noise: scene.Pink, SNR: 16.13495307865068,
			RT60: 1.1231986661142976, DRR: 0.34283503377254476, Losses: []scene.Loss{{At: 66.12365511186822, Seconds: 0.005375}}},
	} {
		take, _ := paired(t, c)
		if len(take.Spans) != len(c.Losses)+1 {
			t.Fatalf("seed %d: spans %+v, want %d", c.Seed, take.Spans, len(c.Losses)+1)
		}
		for i, l := range c.Losses {
			if off := take.Spans[i].Clip[1] - l.At; math.Abs(off) > 0.025 {
				t.Errorf("seed %d: lost at %.3f s, told %.0f ms off", c.Seed, l.At, off*1e3)
			}
		}
	}
}
