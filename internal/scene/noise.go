package scene

import (
	"math"
	"math/rand/v2"
)

// A Noise is a kind of surrounding noise.
type Noise int

// The kinds of noise.
const (
	Quiet   Noise = iota // none
	Pink                 // equal power in each octave
	Babble               // many people talking at once
	Traffic              // low rumble that swells as cars pass
	Music                // chords with a beat, from a loudspeaker
	Wind                 // gusts that buffet the microphone
)

// String returns the kind in lower case.
func (n Noise) String() string {
	return [...]string{"quiet", "pink", "babble", "traffic", "music", "wind"}[n]
}

// A source yields noise of about unit level, sample after sample.
type source interface{ next() float64 }

// newNoise returns a source of kind for rate samples per second.
func newNoise(kind Noise, seed uint64, rate float64, voices []*Excerpt) source {
	switch kind {
	case Babble:
		if len(voices) > 0 {
			return newBabble(seed, rate, voices)
		}
		return newPink(seed)
	case Traffic:
		return &traffic{pink: newPink(seed), rate: rate, low: onePole(400, rate), rng: newRand(seed, 3)}
	case Music:
		return &music{rng: newRand(seed, 4), rate: rate}
	case Wind:
		return &wind{pink: newPink(seed), rng: newRand(seed, 8), low: onePole(150, rate), pace: onePole(0.7, rate)}
	}
	return newPink(seed)
}

// level returns the RMS of the first 20 s.
func level(s source, rate float64) float64 {
	sum, n := 1e-20, int(20*rate)
	for range n {
		v := s.next()
		sum += v * v
	}
	return math.Sqrt(sum / float64(n))
}

func newRand(seed, use uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, use)) }

// white is Gaussian noise of RMS 1.
type white struct{ rng *rand.Rand }

func newWhite(seed uint64) source { return white{newRand(seed, 1)} }

func (w white) next() float64 { return w.rng.NormFloat64() }

// pink is noise falling by 3 dB an octave within ±0.05 dB above 9 Hz at
// 44.1 kHz (Paul Kellet's filter of 1999, as published in the music-dsp
// archive).
type pink struct {
	rng *rand.Rand
	b   [7]float64
}

func newPink(seed uint64) *pink { return &pink{rng: newRand(seed, 2)} }

func (p *pink) next() float64 {
	w, b := p.rng.NormFloat64(), &p.b
	b[0] = 0.99886*b[0] + w*0.0555179
	b[1] = 0.99332*b[1] + w*0.0750759
	b[2] = 0.96900*b[2] + w*0.1538520
	b[3] = 0.86650*b[3] + w*0.3104856
	b[4] = 0.55000*b[4] + w*0.5329522
	b[5] = -0.7616*b[5] - w*0.0168980
	v := b[0] + b[1] + b[2] + b[3] + b[4] + b[5] + b[6] + w*0.5362
	b[6] = w * 0.115926
	return v
}

// onePole returns the factor of a one-pole low-pass at cut Hz.
func onePole(cut, rate float64) float64 { return 1 - math.Exp(-2*math.Pi*cut/rate) }

// traffic is rumble under 400 Hz with a swell every few seconds.
type traffic struct {
	pink       *pink
	rng        *rand.Rand
	rate, low  float64
	state      float64
	swell      float64
	at, length float64
}

func (t *traffic) next() float64 {
	if t.at >= t.length {
		t.at, t.length, t.swell = 0, 3+6*t.rng.Float64(), 1+3*t.rng.Float64()
	}
	t.at += 1 / t.rate
	v := t.pink.next()
	t.state += t.low * (v - t.state)
	rise := math.Sin(math.Pi * t.at / t.length)
	return t.state*(1+t.swell*rise*rise) + 0.12*v*rise*rise
}

// music plays a run of four-note chords, two a second, with a soft beat.
type music struct {
	rng   *rand.Rand
	rate  float64
	at    int
	root  float64
	phase [4]float64
	beat  float64
}

// chord holds the ratios of a just major chord with its octave.
var chord = [4]float64{1, 1.25, 1.5, 2}

func (m *music) next() float64 {
	beat := int(m.rate / 2)
	if m.at%beat == 0 {
		m.beat = 1
		if m.at%(2*beat) == 0 {
			m.root = 130.81 * math.Pow(2, float64(m.rng.IntN(12))/12)
		}
	}
	m.at++
	m.beat *= 1 - 30/m.rate
	sum := 0.0
	for i := range m.phase {
		m.phase[i] += 2 * math.Pi * m.root * chord[i] / m.rate
		if m.phase[i] > 2*math.Pi {
			m.phase[i] -= 2 * math.Pi
		}
		s, c := math.Sincos(m.phase[i])
		sum += s * (1 + 0.8*c + 0.5*c*c) // fundamental, octave, twelfth
	}
	return sum + 2*m.beat*m.rng.NormFloat64()
}

// wind is turbulence at the capsule: rumble under 150 Hz, stronger by far than
// the rest, in gusts a second or so long. That wind noise falls steeply above
// some 100 Hz and comes in gusts is common practice.
type wind struct {
	pink      *pink
	rng       *rand.Rand
	low, pace float64
	state     [2]float64
	gust      float64
}

func (w *wind) next() float64 {
	v := w.pink.next()
	w.state[0] += w.low * (v - w.state[0])
	w.state[1] += w.low * (w.state[0] - w.state[1])
	w.gust += w.pace * (w.rng.NormFloat64()/math.Sqrt(w.pace) - w.gust)
	return (w.state[1] + 0.01*v) * w.gust * w.gust
}

// babble is eight people reading at once, each from the voices in its own
// order and at its own speed.
type babble struct {
	rng    *rand.Rand
	rate   float64
	voices []*Excerpt
	people [8]struct {
		ex        *Excerpt
		pos, step float64
	}
}

func newBabble(seed uint64, rate float64, voices []*Excerpt) *babble {
	b := &babble{rng: newRand(seed, 5), rate: rate, voices: voices}
	for i := range b.people {
		b.turn(i)
		b.people[i].pos = b.rng.Float64() * float64(len(b.people[i].ex.Samples))
	}
	return b
}

// turn gives person i something new to say, well away from its own speed.
func (b *babble) turn(i int) {
	p := &b.people[i]
	p.ex = b.voices[b.rng.IntN(len(b.voices))]
	off := 0.12 + 0.08*b.rng.Float64()
	if i%2 == 0 {
		off = -off
	}
	p.pos, p.step = 0, p.ex.Rate*(1+off)/b.rate
}

func (b *babble) next() float64 {
	sum := 0.0
	for i := range b.people {
		p := &b.people[i]
		n := int(p.pos)
		if n+1 >= len(p.ex.Samples) {
			b.turn(i)
			continue
		}
		f := p.pos - float64(n)
		sum += (1-f)*float64(p.ex.Samples[n]) + f*float64(p.ex.Samples[n+1])
		p.pos += p.step
	}
	return sum
}

// cloth is a shirt brushing the mic: short scrapes of low-passed noise with a
// second or more between them, of RMS about 1 while it lasts.
type cloth struct {
	rng       *rand.Rand
	rate, low float64
	state     float64
	wait, at  int
	length    int
}

func newCloth(seed uint64, rate float64) source {
	c := &cloth{rng: newRand(seed, 6), rate: rate, low: onePole(900, rate)}
	c.rest()
	return c
}

func (c *cloth) rest() {
	c.wait = int(c.rate * (0.8 + 4*c.rng.Float64()))
	c.at, c.length = 0, int(c.rate*(0.05+0.25*c.rng.Float64()))
}

func (c *cloth) next() float64 {
	if c.wait > 0 {
		c.wait--
		return 0
	}
	c.state += c.low * (c.rng.NormFloat64() - c.state)
	shape := math.Sin(math.Pi * float64(c.at) / float64(c.length))
	if c.at++; c.at >= c.length {
		c.rest()
	}
	return c.state / math.Sqrt(c.low/2) * shape * shape
}

// voices returns who talks in the background.
func (s *Scene) voices() []*Excerpt {
	if s.Babble != nil {
		return s.Babble
	}
	var out []*Excerpt
	for _, u := range s.Talk {
		if !u.Clap && len(out) < 200 {
			out = append(out, u.Excerpt)
		}
	}
	return out
}
