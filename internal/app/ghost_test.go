package app

import (
	"context"
	"math"
	"path/filepath"
	"testing"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/scene"
)

// A gated camera in a long room and a recorder of 8 kHz: whitening makes of a
// strong reflection its mirror image, as much before the direct sound as the
// reflection is behind it. It is not taken for the direct sound.
func TestAReflectionsMirrorImage(t *testing.T) {
	phrases, err := scene.Phrases()
	if err != nil {
		t.Skip("no recorded speech")
	}
	const rate = 8000
	a, _ := newApp(t)
	dir := t.TempDir()
	s := scene.Couple{Seed: 410495, Length: 75.33657945269401, PPM: -86.74242051422063, Noise: scene.Pink, SNR: 6.599905821527048,
		RT60: 1.9115346217984381, DRR: -14.80401208348812, Inverted: true, Rate: rate, Gate: 17.972633921995374}.Scene(phrases)
	writeFake(t, filepath.Join(dir, "C0001.MP4"), clipOf(dsp.ProxyRate, 1, s.Render(&s.Clips[0], dsp.ProxyRate)))
	writeFake(t, filepath.Join(dir, "x.wav"), soundFile(rate, 1, s.Render(&s.Sounds[0], rate)))
	res, err := a.Pair(context.Background(), PairOptions{Paths: []string{dir}})
	if err != nil || len(res.Document.Takes) != 1 {
		t.Fatalf("%d takes: %v", len(res.Document.Takes), err)
	}
	take, p := res.Document.Takes[0], s.Truth()[0]
	found, truth := align.Alignment{Offset: take.Offset, Drift: take.Drift * 1e-6}, align.Alignment{Offset: p.Offset, Drift: p.Drift}
	if off := found.Sound(37) - truth.Sound(37); math.Abs(off) > 0.0001 {
		t.Errorf("%s, %.3f ms off", take.Verdict, off*1e3)
	}
}
