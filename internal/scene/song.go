package scene

import (
	"math"
	"math/rand/v2"
)

// songRate is that of made-up music, samples per second: enough for the band
// that is compared.
const songRate = 16000

// A note of a song: what is to be played, not how it is.
type note struct {
	at, length float64 // seconds, at the song's own tempo
	hz         float64 // 0 is a drum
	level      float64
}

// newSong writes a song of so many seconds: a bass, chords and a tune over
// changes that come round, and a drum.
func newSong(seed uint64, seconds float64) []note {
	rng := newRand(seed, 41)
	beat := 60 / (85 + 45*rng.Float64())
	tonic := 110 * math.Pow(2, float64(rng.IntN(12))/12)
	scale := []int{0, 2, 4, 5, 7, 9, 11, 12, 14, 16}
	changes := make([]int, 8)
	for i := range changes {
		changes[i] = []int{0, 5, 7, 9, 2, 4}[rng.IntN(6)]
	}
	pitch := func(half int) float64 { return tonic * math.Pow(2, float64(half)/12) }
	var song []note
	for n := 0; float64(n)*beat < seconds; n++ {
		at := float64(n) * beat
		root := changes[n/4%len(changes)]
		if n%2 == 0 {
			song = append(song, note{at, 1.8 * beat, pitch(root), 0.5})
		}
		if n%4 == 0 {
			for _, step := range []int{12, 16, 19} {
				song = append(song, note{at, 3.8 * beat, pitch(root + step), 0.25})
			}
		}
		for half := range 2 {
			if rng.IntN(3) > 0 {
				song = append(song, note{at + float64(half)*beat/2, beat * (0.4 + rng.Float64()), pitch(12 + scale[rng.IntN(len(scale))]), 0.4})
			}
		}
		song = append(song, note{at, 0.08, 0, 0.6})
	}
	return song
}

// perform plays a song at a tempo (1 as written): the same notes, each player
// off by about loose seconds, loud and soft and out of tune by a little where
// loose is above 0, and with drum strokes of its own. The same seed plays the
// same. It is brought to SpeechLevel.
func perform(song []note, seed uint64, tempo, loose float64) *Excerpt {
	rng := newRand(seed, 42)
	last := song[len(song)-1]
	out := make([]float32, int((last.at/tempo+2)*songRate))
	for _, n := range song {
		at := math.Max(0, n.at/tempo+loose*rng.NormFloat64())
		level, hz := n.level, n.hz
		if loose > 0 {
			level *= math.Exp(0.2 * rng.NormFloat64())
			hz *= math.Exp2(0.08 * rng.NormFloat64() / 12)
		}
		part := out[min(len(out), int(at*songRate)):]
		if hz == 0 {
			strike(part, rng, level, n.length)
		} else {
			pluck(part, rng, hz, level, n.length/tempo)
		}
	}
	gain := float32(SpeechLevel / rms(out))
	for i := range out {
		out[i] *= gain
	}
	return &Excerpt{Name: "song", Rate: songRate, Samples: out}
}

// pluck adds a string: eight partials that die away, the higher the sooner.
func pluck(out []float32, rng *rand.Rand, hz, level, length float64) {
	n := min(len(out), int((length+0.05)*songRate))
	for k := 1.0; k <= 8 && k*hz < 7000; k++ {
		turn := 2 * math.Pi * k * hz / songRate
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		ds, dc := math.Sincos(turn)
		fall := math.Exp(-(1 + 0.6*k) / songRate)
		height := level / k
		for i := range n {
			rise := math.Min(1, float64(i)/80) * math.Min(1, float64(n-i)/400)
			out[i] += float32(height * rise * sin)
			sin, cos = sin*dc+cos*ds, cos*dc-sin*ds
			height *= fall
		}
	}
}

// strike adds a drum: noise that dies away.
func strike(out []float32, rng *rand.Rand, level, length float64) {
	n := min(len(out), int(4*length*songRate))
	for i := range n {
		out[i] += float32(level * rng.NormFloat64() * math.Exp(-float64(i)/(length*songRate/2)))
	}
}

// mains is the hum of a mains of 50 or 60 Hz whose rate wanders by some
// hundredths: all its harmonics, as a rectifier makes them. Grids hold their
// rate within about ±0.05 Hz in ordinary running.
func mains(seed uint64, seconds float64) *Excerpt {
	rng := newRand(seed, 43)
	base := []float64{50, 60}[rng.IntN(2)]
	const most = 40
	var level, phase [most]float64
	for k := range level {
		level[k] = math.Exp(0.5*rng.NormFloat64()) / float64(k+1)
		phase[k] = 2 * math.Pi * rng.Float64()
	}
	out := make([]float32, int(seconds*songRate))
	wander, turned := 0.0, 0.0
	for i := range out {
		if i%160 == 0 {
			wander += 0.004*rng.NormFloat64() - 0.01*wander
		}
		turned += 2 * math.Pi * (base + wander) / songRate
		sum := 0.0
		for k := range level {
			sum += level[k] * math.Sin(float64(k+1)*turned+phase[k])
		}
		out[i] = float32(sum)
	}
	gain := float32(SpeechLevel / rms(out))
	for i := range out {
		out[i] *= gain
	}
	return &Excerpt{Name: "mains", Rate: songRate, Samples: out}
}

// roomTone is a room with nobody in it: pink noise that swells and ebbs.
func roomTone(seed uint64, seconds float64) *Excerpt {
	p, swell := newPink(seed), newRand(seed, 44)
	out := make([]float32, int(seconds*songRate))
	level, pace := 0.0, onePole(0.3, songRate)
	for i := range out {
		level += pace * (swell.NormFloat64()/math.Sqrt(pace) - level)
		out[i] = float32(p.next() * math.Exp(0.3*level))
	}
	gain := float32(SpeechLevel / rms(out))
	for i := range out {
		out[i] *= gain
	}
	return &Excerpt{Name: "room tone", Rate: songRate, Samples: out}
}
