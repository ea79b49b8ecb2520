package scene

import (
	"math"
	"testing"
)

// TestShoeboxDecay holds the simulated decay against the reverberation time
// asked for through Eyring's formula, within 25 %: image sources in a box with
// one absorption are known to decay a little slower than the diffuse field the
// formula assumes (Lehmann & Johansson 2008).
func TestShoeboxDecay(t *testing.T) {
	for _, box := range []Shoebox{
		{Size: [3]float64{4, 3, 2.5}, Talker: [3]float64{1, 1.1, 1.5}, Mic: [3]float64{3.1, 2.2, 1.4}, RT60: 0.35},
		{Size: [3]float64{6, 5, 3}, Talker: [3]float64{1.3, 2.1, 1.6}, Mic: [3]float64{4.6, 3.2, 1.3}, RT60: 0.6},
	} {
		r := box.Response(16000)
		got := r.RT60()
		t.Logf("asked %.2f s, got %.2f s, DRR %.1f dB at %.2f m", box.RT60, got, r.DRR(), box.Distance())
		if math.Abs(got/box.RT60-1) > 0.25 {
			t.Errorf("decay %.2f s, want %.2f s", got, box.RT60)
		}
	}
}
