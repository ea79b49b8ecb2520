package app

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"testing"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/scene"
)

// A clip of one talker, with the body mic of somebody else who says nothing in
// it: that one hears the talker through the room, and its reflections are no
// direct sound. The second pairing takes from the cache what the first measured.
func TestTheMicrophoneOfASilentWearer(t *testing.T) {
	phrases, err := scene.Phrases()
	if err != nil {
		t.Skip("no recorded speech")
	}
	for _, seed := range []uint64{2, 23} {
		a, _ := newSwiftApp(t)
		dir := t.TempDir()
		s, shown := scene.Dialogue{Seed: seed, Length: 25, Share: 1, Apart: 2.5, Near: 1.5, SNR: 15}.Scene(phrases)
		writeFake(t, filepath.Join(dir, "C0001.MP4"), clipOf(dsp.ProxyRate, 1, s.Render(&s.Clips[0], dsp.ProxyRate)))
		for k := range s.Sounds {
			writeFake(t, filepath.Join(dir, fmt.Sprintf("%c.wav", 'x'+k)), soundFile(dsp.ProxyRate, 1, s.Render(&s.Sounds[k], dsp.ProxyRate)))
		}
		for range 2 {
			res, err := a.Pair(context.Background(), PairOptions{Paths: []string{dir}})
			if err != nil || len(res.Document.Takes) != 2 {
				t.Fatalf("%d takes: %v", len(res.Document.Takes), err)
			}
			for _, take := range res.Document.Takes {
				k := int(filepath.Base(take.Sound)[0] - 'x')
				found := align.Alignment{Offset: take.Offset, Drift: take.Drift * 1e-6}
				off := found.Sound(12) - scene.Heard(&s.Clips[0], &s.Sounds[k], shown, 12)
				if math.Abs(off) > 0.0001 || take.Verdict != "sure" {
					t.Errorf("seed %d, the talker's own %v: %s, %.3f ms off", seed, k == shown, take.Verdict, off*1e3)
				}
			}
		}
	}
}
