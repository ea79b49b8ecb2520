package app

import (
	"math"
	"path/filepath"
	"testing"

	"earshot/internal/dsp"
)

// Samples that are infinite or no number, here and there in both files, count
// as silence: the take is found, married and proven, and none comes out.
func TestSpoiltSamplesAreMarried(t *testing.T) {
	a, _ := newSwiftApp(t)
	dir, to := t.TempDir(), t.TempDir()
	l := lesson()
	spoil := func(in []float32) []float32 {
		out := append([]float32(nil), in...)
		for i, n := range []int{3, 7, 11, 13} {
			out[len(out)*n/17] = float32(math.Inf(1 - i%2*2))
			out[len(out)*n/17+5] = float32(math.NaN())
		}
		return out
	}
	writeFake(t, filepath.Join(dir, "C0001.MP4"), clipOf(dsp.ProxyRate, 1, spoil(l.clips[0])))
	writeFake(t, filepath.Join(dir, "r1.wav"), soundFile(dsp.ProxyRate, 1, spoil(l.sounds[l.scene.Truth()[0].Sound])))
	r := marryAll(t, a, MarryOptions{Paths: []string{dir}, To: to})
	if len(r.Clips) != 1 || r.Clips[0].State != Written || r.Clips[0].Proof.State != InSync {
		t.Fatalf("%+v", r.Clips)
	}
	holdsSchema(t, r.Pair.Document)
	for i, v := range soundOf(t, a, r.Clips[0].Out, 0) {
		if v-v != 0 {
			t.Fatalf("sample %d is %g", i, v)
		}
	}
}
