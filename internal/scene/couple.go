package scene

import "math"

// A Couple asks for one clip and one sound that heard the same moment, with
// one thing or another made hard. The sound runs on at both ends.
type Couple struct {
	Seed     uint64
	Length   float64 // of the clip, seconds
	PPM      float64 // how much faster the recorder's clock runs than the camera's
	Noise    Noise   // around the camera
	SNR      float64 // dB at the camera
	Room     *Response
	RT60     float64    // seconds; of a simulated room, where Room is nil
	DRR      float64    // dB; direct-to-reverberant ratio of a simulated room
	AGC      bool       // the camera levels automatically, and limits
	Cloth    float64    // dBFS of cloth on the body mic; 0 means none
	Inverted bool       // the body mic's poles are swapped
	Band     [2]float64 // Hz; what the body mic hears is down by 12 dB an octave beyond; nothing if zero
	Hot      float64    // dB; both recordings are turned up by so much, and clip
	Rate     int        // Hz, of the sound's file; 0 counts as the usual one
	Bend     float64    // ppm by which the recorder's clock gets faster each hour
	Walk     float64    // metres that the talker walks away from the camera in the middle of the clip
	Gate     float64    // dB by which both recordings suppress noise
	Swapped  bool       // the camera is the near microphone, the recorder lies across the room
	Losses   []Loss     // of the recorder; At counts from the clip's beginning
}

// walking is the pace of somebody who walks and talks, metres a second (common
// practice).
const walking = 1.2

// Scene makes the couple up from phrases. The same seed gives the same.
func (c Couple) Scene(phrases []*Excerpt) *Scene {
	rng := newRand(c.Seed, 21)
	d := &director{opt: Options{Recorders: 1, Phrases: phrases}, rng: rng, seed: c.Seed << 16, scene: &Scene{}}
	d.script = newScript(phrases, rng)
	begin := d.between(5, 25)
	d.scene.Talk = append(d.scene.Talk, ClapAt(begin+min(1, c.Length/4), c.Seed, 0))
	d.talk(0, begin-1, nil)
	d.talk(begin+min(2, c.Length/2), begin+c.Length+10, nil)
	room := Path{Flight: d.between(1, 5) / SpeedOfSound, Room: c.Room}
	if room.Room == nil {
		room = d.boxWith(c.RT60, c.DRR)
	}
	if c.Walk != 0 {
		takes := math.Abs(c.Walk) / walking
		room.Walk = Walk{From: begin + (c.Length-takes)/2, To: begin + (c.Length+takes)/2, Further: c.Walk / SpeedOfSound}
	}
	near := Path{Flight: d.between(0.12, 0.3) / SpeedOfSound}
	if c.Band[1] > 0 {
		near.Room = Muffled(c.Band[0], c.Band[1])
	}
	if c.Inverted {
		near.Gain = -1
	}
	if c.Swapped {
		room, near = near, room
	}
	d.scene.Clips = []Device{{Name: "CARD/C0001.MP4", Clock: Clock{Start: begin}, Length: c.Length, Paths: []Path{room},
		Noise: c.Noise, SNR: c.SNR, Floor: -72, Gain: c.Hot, AGC: c.AGC, Limit: c.AGC, Gate: c.Gate, Seed: d.seed + 1}}
	d.scene.Sounds = []Device{{Name: "MIC/0001.WAV", Clock: Clock{PPM: c.PPM}, Length: begin + c.Length + d.between(2, 8),
		Paths: []Path{near}, Floor: -65, Gain: c.Hot, Cloth: c.Cloth, Rate: c.Rate, Gate: c.Gate, Seed: d.seed + 2}}
	mic := &d.scene.Sounds[0]
	mic.Clock.Bend = c.Bend
	for _, l := range c.Losses {
		l.At, _ = mic.own(mic.Clock.Own(begin + l.At))
		mic.Losses = append(mic.Losses, l)
	}
	return d.scene
}

// boxWith is a simulated room of a given reverberation time, whose reflections
// are turned up or down to a direct-to-reverberant ratio.
func (d *director) boxWith(rt60, drr float64) Path {
	box := Shoebox{Size: [3]float64{d.between(4, 8), d.between(3.5, 6), d.between(2.4, 3.5)}, RT60: rt60, Seed: d.rng.Uint64()}
	for i := range box.Size {
		box.Talker[i] = d.between(0.2, 0.45) * box.Size[i]
		box.Mic[i] = d.between(0.55, 0.8) * box.Size[i]
	}
	r := box.Response(48000)
	r.toDRR(drr)
	return Path{Flight: box.Flight(), Room: r}
}

// toDRR scales all but the first 2.5 ms after the direct sound so that DRR
// gives db.
func (r *Response) toDRR(db float64) {
	change := float32(math.Pow(10, (r.DRR()-db)/20))
	for i := int(r.Direct+0.0025*r.Rate) + 1; i < len(r.Samples); i++ {
		r.Samples[i] *= change
	}
}
