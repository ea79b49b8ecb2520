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
		if got := box.Response(16000).RT60(); math.Abs(got/box.RT60-1) > 0.25 {
			t.Errorf("decay %.2f s, want %.2f s", got, box.RT60)
		}
	}
}

// TestAbsorption holds the walls against a worked example of Sabine's formula,
// whose absorption Eyring's approaches when it is small: 10 x 8 x 6 m with
// T = 3 s has a mean absorption of 0.0685 (shaalaa.com, worked problem).
func TestAbsorption(t *testing.T) {
	box := Shoebox{Size: [3]float64{10, 8, 6}, RT60: 3}
	sabine := -math.Log(1 - box.Absorption())
	if math.Abs(sabine-0.0685) > 0.0001 {
		t.Errorf("mean absorption %.4f, want 0.0685", sabine)
	}
}

// TestFlight checks where a click through a simulated room arrives: 3 m away
// at 20 °C after 8.74 ms, 0.2 m away after 0.58 ms (ISO 9613-1 speed of sound,
// 343.2 m/s).
func TestFlight(t *testing.T) {
	const rate, at = 48000, 0.25
	click := &Excerpt{Rate: rate, Samples: make([]float32, 401)}
	for i := range click.Samples { // band-limited, so that its top can be found between samples
		d := float64(i - 200)
		click.Samples[i] = float32(0.5 * 0.4 * sinc(0.4*d) * kaiser(d/201, 8))
	}
	for _, tt := range []struct{ metres, ms float64 }{{3, 8.741}, {0.2, 0.583}} {
		box := Shoebox{Size: [3]float64{9, 8, 4}, Talker: [3]float64{2, 4, 2}, Mic: [3]float64{2 + tt.metres, 4, 2}, RT60: 0.5}
		s := &Scene{Talk: []Utterance{{At: at - 200.0/rate, Excerpt: click}}}
		d := &Device{Length: 0.6, Paths: []Path{{Flight: box.Flight(), Room: box.Response(rate)}}}
		sound := s.Render(d, rate)
		most := 0.0
		for _, v := range sound {
			most = max(most, math.Abs(float64(v)))
		}
		first := math.NaN()
		for i := 1; i < len(sound)-1; i++ {
			a, b, c := float64(sound[i-1]), float64(sound[i]), float64(sound[i+1])
			if b > 0.9*most && b >= a && b >= c {
				first = (float64(i)+(a-c)/(2*(a-2*b+c)))/rate - at
				break
			}
		}
		if math.Abs(first*1000-tt.ms) > 0.002 {
			t.Errorf("%g m: arrives after %.4f ms, want %.3f ms", tt.metres, first*1000, tt.ms)
		}
	}
}
