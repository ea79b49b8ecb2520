package scene

import "math"

// NewClap returns the dry sound of two hands meeting, clapLead samples into
// the excerpt: a burst of noise that rises within 0.3 ms and dies away over
// some 8 ms around a broad resonance near 1.2 kHz, its peak at 0.6, which is
// 18.6 dB over SpeechLevel. That claps differ by person and hand shape and
// have one broad peak between 0.4 and 2.5 kHz is Repp 1987 ("The sound of two
// hands clapping"); the figures here are from memory of such recordings.
func NewClap(seed uint64) *Excerpt {
	const rate = 48000.0
	rng := newRand(seed, 7)
	centre := 900 + 700*rng.Float64() // Hz
	samples := make([]float32, clapLead+int(0.06*rate))
	turn, keep := 2*math.Pi*centre/rate, math.Exp(-math.Pi*500/rate)
	var y1, y2, most float64
	for i := clapLead; i < len(samples); i++ {
		t := float64(i-clapLead) / rate
		drive := rng.NormFloat64() * min(1, t/0.0003) * math.Exp(-t/0.004)
		y := drive + 2*keep*math.Cos(turn)*y1 - keep*keep*y2
		y1, y2 = y, y1
		v := 0.5*drive + 0.25*y
		samples[i] = float32(v)
		most = max(most, math.Abs(v))
	}
	for i := range samples {
		samples[i] *= float32(0.6 / most)
	}
	return &Excerpt{Name: "clap", Rate: rate, Samples: samples}
}

// clapLead is how many samples of silence stand before a clap's onset.
const clapLead = 48

// ClapAt returns an utterance whose hands meet at world time at.
func ClapAt(at float64, seed uint64, talker int) Utterance {
	e := NewClap(seed)
	return Utterance{At: at - clapLead/e.Rate, Excerpt: e, Talker: talker, Clap: true}
}
