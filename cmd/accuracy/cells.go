package main

import (
	"fmt"
	"math/rand/v2"

	"earshot/internal/align"
	"earshot/internal/scene"
)

// A cell is one kind of couple.
type cell struct {
	name   string
	couple scene.Couple
	least  float64 // share of its couples that is known to be found and sure
	codec  codec   // that both recordings go through
	mixed  bool    // everything is another from couple to couple
	clocks bool    // the drift is, as clocks differ
	slow   bool    // left out of -quick, which has its like
}

// What -quick makes: so many couples of a cell, no clip longer, in seconds.
const (
	quickCouples = 3
	quickLength  = 60.0
)

// plain is the couple that all others are compared with: one thing at a time
// is changed in it.
var plain = scene.Couple{Length: 60, PPM: 20, Noise: scene.Pink, SNR: 10, RT60: 0.5}

// noises are those of couples drawn by chance.
var noises = []scene.Noise{scene.Pink, scene.Traffic, scene.Babble, scene.Music, scene.Wind}

// cells lists them. What a cell is known to find was seen with its first
// twenty seeds.
func cells(rooms []*scene.Response) []cell {
	var out []cell
	add := func(least float64, name string, change func(c *scene.Couple)) {
		out = append(out, cellOf(least, name, change))
	}
	add(1, "60 s, pink noise at 10 dB, RT60 0.5 s, DRR 0 dB, 20 ppm", func(*scene.Couple) {})
	for _, snr := range []float64{20, 5, 0, -6, -10, -15} {
		add(allUnless(snr <= -15, 0), fmt.Sprintf("SNR %g dB", snr), func(c *scene.Couple) { c.SNR = snr })
	}
	for _, noise := range []scene.Noise{scene.Traffic, scene.Babble, scene.Music, scene.Wind} {
		add(1, fmt.Sprintf("%s at 0 dB", noise), func(c *scene.Couple) { c.Noise, c.SNR = noise, 0 })
	}
	for _, rt := range []float64{0.2, 1, 2, 3} {
		add(1, fmt.Sprintf("RT60 %g s", rt), func(c *scene.Couple) { c.RT60 = rt })
		out[len(out)-1].slow = rt == 2
	}
	for _, drr := range []float64{10, -5, -10, -15, -20} {
		add(allUnless(drr <= -15, 0.5), fmt.Sprintf("DRR %g dB", drr), func(c *scene.Couple) { c.DRR = drr })
	}
	for _, r := range rooms {
		add(1, "measured: "+r.Name, func(c *scene.Couple) { c.Room = r })
	}
	for _, length := range []float64{3, 5, 10, 20, 300, 600} {
		add(allUnless(length < 20, 0.5), fmt.Sprintf("%g s", length), func(c *scene.Couple) { c.Length = length })
		out[len(out)-1].clocks = length < 10 // too short to tell the drift, of which one value would say nothing
	}
	for _, ppm := range []float64{0, -100, 290} {
		add(1, fmt.Sprintf("drift %g ppm", ppm), func(c *scene.Couple) { c.PPM = ppm })
		out[len(out)-1].slow = ppm == -100
	}
	add(1, "automatic level and limiting", func(c *scene.Couple) { c.AGC = true })
	add(1, "cloth on the body mic, -30 dBFS", func(c *scene.Couple) { c.Cloth = -30 })
	out = append(out, muffledCells(rooms)...)
	add(1, "both clip, 20 dB over", func(c *scene.Couple) { c.Hot = 20 })
	add(1, "recorder at 8 kHz", func(c *scene.Couple) { c.Rate = 8000 })
	add(1, "body mic inverted", func(c *scene.Couple) { c.Inverted = true })
	add(1, "noise suppressed by 15 dB, SNR 5 dB", func(c *scene.Couple) { c.Gate, c.SNR = 15, 5 })
	add(1, "camera and recorder change places", func(c *scene.Couple) { c.Swapped = true })
	add(1, "camera and recorder change places, DRR 8 dB", func(c *scene.Couple) { c.Swapped, c.DRR = true, 8 })
	for _, k := range []codec{{"aac", 64}, {"aac", 256}, {"libmp3lame", 64}} {
		add(1, k.String(), func(c *scene.Couple) { c.Rate = codedRate })
		out[len(out)-1].codec, out[len(out)-1].slow = k, k.kbps > 64
	}
	hard := func(c *scene.Couple) { c.SNR, c.RT60, c.DRR, c.Length = -10, 2, -15, 300 }
	add(0, "-10 dB, RT60 2 s, DRR -15 dB, 5 min", hard)
	add(0, "-10 dB, RT60 2 s, DRR -15 dB, 10 min", func(c *scene.Couple) { hard(c); c.Length = 600 })
	add(0.9, "anything: 20 to 120 s, 0 dB and more", func(*scene.Couple) {})
	out[len(out)-1].mixed = true
	return out
}

// cellOf is the plain couple with one thing changed.
func cellOf(least float64, name string, change func(c *scene.Couple)) cell {
	c := cell{name: name, couple: plain, least: least}
	change(&c.couple)
	return c
}

// muffledCells are those of a body mic under cloth, or with a narrow capsule.
func muffledCells(rooms []*scene.Response) (out []cell) {
	add := func(name string, change func(c *scene.Couple)) { out = append(out, cellOf(1, name, change)) }
	for _, high := range []float64{4000, 2000, 1000} {
		add(fmt.Sprintf("body mic muffled, 12 dB an octave from %g Hz up", high), func(c *scene.Couple) { c.Band[1] = high })
		out[len(out)-1].slow = high > 1000
	}
	telephone := [2]float64{300, 3400}
	add("body mic muffled beyond 300 and 3400 Hz", func(c *scene.Couple) { c.Band = telephone })
	for _, r := range rooms {
		add("body mic so muffled, measured: "+r.Name, func(c *scene.Couple) { c.Room, c.Band = r, telephone })
		out[len(out)-1].slow = true
	}
	return out
}

// allUnless is a share: all, or what is known of a hard case.
func allUnless(hard bool, share float64) float64 {
	if hard {
		return share
	}
	return 1
}

// made is the cell's couple with a seed.
func (c *cell) made(seed uint64, rooms []*scene.Response) scene.Couple {
	out := c.couple
	out.Seed = seed
	if c.clocks {
		out.PPM = 1e6 * align.Ordinary * rand.New(rand.NewPCG(seed, 56)).NormFloat64()
	}
	if c.mixed {
		mix(&out, rooms)
	}
	return out
}

// mix makes a couple of anything that goes together, by its seed.
func mix(c *scene.Couple, rooms []*scene.Response) {
	rng := rand.New(rand.NewPCG(c.Seed, 55))
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	one := func(in int) bool { return rng.IntN(in) == 0 }
	c.Length, c.PPM = between(20, 120), between(-100, 100)
	c.Noise, c.SNR = noises[rng.IntN(len(noises))], between(0, 20)
	c.RT60, c.DRR = between(0.2, 2), between(-15, 10)
	if one(4) {
		c.Room = rooms[rng.IntN(len(rooms))]
	}
	c.AGC, c.Inverted = one(3), one(3)
	if one(4) {
		c.Cloth = between(-45, -25)
	}
	if one(4) {
		c.Gate = between(6, 20)
	}
	if one(6) {
		c.Hot = between(3, 15)
	}
	if one(6) {
		c.Rate = 8000
	}
}
