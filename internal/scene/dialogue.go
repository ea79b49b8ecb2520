package scene

import "math"

// A Dialogue asks for one clip of two talkers, each with a body mic of their
// own, of whom the camera shows one: that one is nearer to it.
type Dialogue struct {
	Seed   uint64
	Length float64 // of the clip, seconds
	Share  float64 // of the talk that the one shown has, 0..1
	Apart  float64 // metres between the talkers
	Near   float64 // metres from the camera to the one shown; the other is Apart farther
	SNR    float64 // dB at the camera
	AGC    bool    // the camera levels automatically
}

// Scene makes the dialogue up from phrases and says who is shown, 0 or 1.
func (g Dialogue) Scene(phrases []*Excerpt) (s *Scene, shown int) {
	rng := newRand(g.Seed, 41)
	d := &director{opt: Options{Phrases: phrases}, rng: rng, seed: g.Seed << 16, scene: &Scene{}}
	d.script = newScript(phrases, rng)
	shown = rng.IntN(2)
	begin := d.between(20, 40)
	total := begin + g.Length + d.between(20, 40)
	loud := [2]float64{d.between(-3, 3), d.between(-3, 3)} // dB: how loud each talks
	for at := 1.0; ; {
		who := shown
		if rng.Float64() >= g.Share {
			who = 1 - shown
		}
		for range 1 + rng.IntN(2) { // a turn
			which, speed := d.script.next()
			u := Utterance{At: at, Excerpt: phrases[which], Speed: speed, Talker: who, Gain: decibel(loud[who] + d.between(-2, 2))}
			if u.End() > total-1 {
				return d.dialogue(g, shown, begin, total), shown
			}
			d.scene.Talk = append(d.scene.Talk, u)
			at = u.End() + d.between(0.1, 0.8)
		}
	}
}

// dialogue adds the recordings.
func (d *director) dialogue(g Dialogue, shown int, begin, total float64) *Scene {
	camera := Device{Name: "CARD/C0001.MP4", Clock: Clock{Start: begin, PPM: d.between(-30, 30)}, Length: g.Length,
		Noise: Pink, SNR: g.SNR, Floor: -70, AGC: g.AGC, Limit: true, Seed: d.seed + 1, Paths: make([]Path, 2)}
	for talker := range 2 {
		far := g.Near
		if talker != shown {
			far = math.Hypot(g.Near, g.Apart) + 0.3*g.Apart
		}
		p := d.boxWith(d.between(0.25, 0.6), d.between(-2, 4)-20*math.Log10(far/g.Near))
		p.Flight, p.Gain = far/SpeedOfSound, g.Near/far
		camera.Paths[talker] = p
	}
	d.scene.Clips = []Device{camera}
	for k, name := range []string{"MIC1/0001.WAV", "MIC2/T0001.WAV"} {
		mic := Device{Name: name, Clock: Clock{Start: d.between(0, 1), PPM: d.between(-30, 30)}, Wearer: k,
			Gain: d.between(-4, 4), Floor: d.between(-70, -58), Cloth: d.between(-48, -36), Seed: d.seed + uint64(10+k), Paths: make([]Path, 2)}
		mic.Length = total - mic.Clock.Start
		mouth := d.between(0.12, 0.3)
		other := d.boxWith(0.4, d.between(0, 6))
		other.Flight, other.Gain = g.Apart/SpeedOfSound, mouth/g.Apart
		mic.Paths[k], mic.Paths[1-k] = Path{Flight: mouth / SpeedOfSound}, other
		d.scene.Sounds = append(d.scene.Sounds, mic)
	}
	return d.scene
}

// Spoken is how long a talker talks while a device records, seconds.
func (s *Scene) Spoken(d *Device, talker int) (sum float64) {
	from, to := d.Clock.Start, d.Clock.World(d.Length)
	for i := range s.Talk {
		if u := &s.Talk[i]; u.Talker == talker && !u.Clap {
			sum += max(0, min(to, u.End())-max(from, u.At))
		}
	}
	return sum
}
