package dsp_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"earshot/internal/dsp"
	"earshot/internal/scene"
)

// Two real claps: wooden boards in a seminar room (CC0, spatialaudio) and a
// hand in a stone cellar (CC0, Freesound 757865), as recorded, in noise 30 dB
// under their peak. Each is one onset, where it begins.
func TestOnsetsOfClaps(t *testing.T) {
	rooms, err := scene.Rooms()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rooms {
		if r.Name != "seminar-room" && r.Name != "stone-cellar" {
			continue
		}
		t.Run(r.Name, func(t *testing.T) {
			n := int(float64(len(r.Samples)) * dsp.ProxyRate / r.Rate)
			clap := dsp.Resample(r.Samples, 1, 0, r.Rate/dsp.ProxyRate, n)
			peak := dsp.Peak(clap)
			rng := rand.New(rand.NewPCG(1, 2))
			x := make([]float32, 10*dsp.ProxyRate)
			for i := range x {
				x[i] = float32(0.01 * peak * rng.NormFloat64())
			}
			const at = 4.2
			for i, v := range clap {
				if j := int(at*dsp.ProxyRate) + i; j < len(x) {
					x[j] += v
				}
			}
			got := onsets(x)
			begins := at + r.Direct/r.Rate
			if len(got) != 1 || math.Abs(got[0].At-begins) > 0.002 {
				t.Errorf("onsets %+v, want one at %.4f s", got, begins)
			}
		})
	}
}

// Talk holds few: a plosive now and then, not every syllable.
func TestOnsetsOfTalk(t *testing.T) {
	phrases, err := scene.Phrases()
	if err != nil {
		t.Fatal(err)
	}
	var seconds float64
	found := 0
	for _, p := range phrases {
		n := int(p.Length() * dsp.ProxyRate)
		found += len(onsets(dsp.Resample(p.Samples, 1, 0, p.Rate/dsp.ProxyRate, n)))
		seconds += p.Length()
	}
	t.Logf("%d in %.0f s of talk", found, seconds)
	if float64(found) > seconds/5 {
		t.Errorf("%d onsets in %.0f s of talk, want at most one in five seconds", found, seconds)
	}
}

// Blocks of any size give the same.
func TestOnsetsInBlocks(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	x := make([]float32, 3*dsp.ProxyRate)
	for i := range x {
		x[i] = float32(0.001 * rng.NormFloat64())
	}
	for i := range 200 {
		x[20000+i] += float32(0.5 * math.Exp(-float64(i)/40) * rng.NormFloat64())
	}
	whole := onsets(x)
	var o dsp.OnsetFinder
	for i := 0; i < len(x); i += 777 {
		o.Write(x[i:min(len(x), i+777)])
	}
	parts := o.Onsets()
	if len(whole) != 1 || len(parts) != 1 || whole[0] != parts[0] {
		t.Errorf("whole %+v, in parts %+v, want one and the same", whole, parts)
	}
}

func onsets(x []float32) []dsp.Onset {
	var o dsp.OnsetFinder
	o.Write(x)
	return o.Onsets()
}
