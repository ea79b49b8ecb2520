package scene

import "math"

// A chain is what a device adds to the sound and does to it: surrounding
// noise, cloth, its own noise, gain, automatic level, limiting. All of it
// keeps time.
type chain struct {
	noise, floor, cloth source
	noiseGain           float64
	floorGain           float64
	clothGain           float64
	gain                float64
	auto                *autoLevel
	limit               bool
}

// newChain sets up a device's chain for rate samples per second.
func newChain(s *Scene, d *Device, rate float64) *chain {
	c := &chain{gain: decibel(d.Gain), limit: d.Limit}
	if d.Noise != Quiet {
		c.noise = newNoise(d.Noise, d.Seed, rate, s.voices())
		c.noiseGain = SpeechLevel * decibel(-d.SNR) / level(newNoise(d.Noise, d.Seed, rate, s.voices()), rate)
	}
	if d.Floor < 0 {
		c.floor, c.floorGain = newWhite(d.Seed+1), decibel(d.Floor)
	}
	if d.Cloth < 0 {
		c.cloth, c.clothGain = newCloth(d.Seed+2, rate), decibel(d.Cloth)
	}
	if d.AGC {
		c.auto = newAutoLevel(rate)
	}
	return c
}

// run takes block through the chain into out.
func (c *chain) run(block []float64, out []float32) {
	for i, v := range block {
		if c.noise != nil {
			v += c.noiseGain * c.noise.next()
		}
		if c.cloth != nil {
			v += c.clothGain * c.cloth.next()
		}
		v *= c.gain
		if c.auto != nil {
			v *= c.auto.follow(v)
		}
		if c.limit {
			v = soften(v)
		}
		if c.floor != nil {
			v += c.floorGain * c.floor.next()
		}
		out[i] = float32(max(-1, min(1, v)))
	}
}

// decibel returns the factor of a level in dB.
func decibel(db float64) float64 { return math.Pow(10, db/20) }

// soften leaves |v| up to 0.5 alone and bends the rest towards 1.
func soften(v float64) float64 {
	a := math.Abs(v)
	if a <= 0.5 {
		return v
	}
	return math.Copysign(0.5+0.5*math.Tanh((a-0.5)/0.5), v)
}

// An autoLevel is a camera's automatic level: it pulls loud passages down
// within 20 ms and lifts quiet ones over 1.5 s, by at most 18 dB, towards
// -20 dBFS.
type autoLevel struct {
	power, attack, release float64
}

func newAutoLevel(rate float64) *autoLevel {
	return &autoLevel{power: 0.01, attack: 1 - math.Exp(-1/(0.02*rate)), release: 1 - math.Exp(-1/(1.5*rate))}
}

// follow takes the next sample and returns the gain for it.
func (a *autoLevel) follow(v float64) float64 {
	pace := a.release
	if v*v > a.power {
		pace = a.attack / 4
	}
	a.power += pace * (v*v - a.power)
	return min(8, 0.1/math.Sqrt(a.power+1e-12))
}
