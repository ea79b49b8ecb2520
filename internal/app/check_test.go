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
)

// A clip of three minutes and more is proven in spots; they see what the whole
// sees, sign and size.
func TestLongClipsAreProvenInSpots(t *testing.T) {
	phrases, err := scene.Phrases()
	if err != nil {
		t.Fatal(err)
	}
	const length = 200
	s := &scene.Scene{}
	for i, at := 0, 3.0; at < length; i++ {
		u := scene.Utterance{At: at, Excerpt: phrases[i%len(phrases)], Speed: 1 + 0.01*float64(i/len(phrases))}
		s.Talk = append(s.Talk, u)
		at = u.End() + 0.5
	}
	s.Clips = []scene.Device{camera(2, length)}
	s.Sounds = []scene.Device{recorder("PHONE/r1.wav", 0, length+10, 2)}
	scratch := s.Render(&s.Clips[0], dsp.ProxyRate)
	sound := s.Render(&s.Sounds[0], dsp.ProxyRate)
	p := s.Truth()[0]
	truth := align.Alignment{Offset: p.Offset, Drift: p.Drift}
	for _, tt := range []struct {
		name  string
		lie   align.Alignment
		state string
		late  float64
		drift float64
	}{
		{"right", align.Alignment{}, InSync, 0, 0},
		{"30 ms late", align.Alignment{Offset: 0.030}, OutOfSync, 30, 0},
		{"60 ppm", align.Alignment{Offset: -60e-6 * length / 2, Drift: 60e-6}, OutOfSync, 0, 60},
	} {
		t.Run(tt.name, func(t *testing.T) {
			a, _ := newApp(t)
			start := truth.Sound(tt.lie.Clip(0)) * dsp.ProxyRate
			good := dsp.Resample(sound, 1, start, (1+truth.Drift)/(1+tt.lie.Drift), len(scratch))
			f := mediatest.Clip(picture, dsp.ProxyRate, 1, time.Time{}, good, nil)
			second := f.Info.Sounds[0]
			second.Stream = 2
			f.Info.Sounds, f.Sounds = append(f.Info.Sounds, second), append(f.Sounds, scratch)
			path := filepath.Join(t.TempDir(), "long.mov")
			writeFake(t, path, f)
			sk := dsp.NewSketcher()
			sk.Write(scratch)
			rec := &recording{path: path, info: f.Info, tracks: []track{{Samples: len(scratch), sketch: sk.Close()}}}
			take := &dayTake{clip: rec, link: &link{}, found: align.Found{From: 0, To: length}}
			c := &checker{app: a, take: take, good: laid{path, &f.Info, 0}, scratch: laid{path, &f.Info, 1}}
			proof, err := c.spots(context.Background(), 0)
			if err != nil || proof == nil {
				t.Fatalf("spots = %v, %v", proof, err)
			}
			if proof.State != tt.state || !strings.Contains(strings.Join(proof.Why, " "), "spots") {
				t.Errorf("%s, %v, want %s", proof.State, proof.Why, tt.state)
			}
			if math.Abs(proof.Late-tt.late) > 0.1+math.Abs(tt.drift)*0.05 || math.Abs(proof.Drift-tt.drift) > 1 {
				t.Errorf("late %.3f ms, drift %.2f ppm, want %.0f, %.0f", proof.Late, proof.Drift, tt.late, tt.drift)
			}
			if tt.state == InSync && proof.Seam.P95 > 0.5 {
				t.Errorf("seam %.3f ms, want within 0.5", proof.Seam.P95)
			}
		})
	}
}
