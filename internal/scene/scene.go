// Package scene makes shoots that never happened, with the truth known: a
// talker in a room, a camera that hears the room, a body mic that hears the
// talker, each on its own clock. The demo, tests and benchmarks live on it.
//
// # World time
//
// A scene is laid out in world seconds, a clock that no device has. What is
// said leaves the talker's mouth at world time e. It reaches a device along a
// Path at e + Path.Flight. A device whose Clock starts at world time w0 and
// runs fast by p (p = PPM·1e-6) takes its sample n of a file with rate R at
//
//	w = w0 + n / (R·(1+p))
//
// so the file's own time t = n/R is world time w0 + t/(1+p).
//
// # Truth
//
// The sound of one moment, as it arrives along the direct path, stands at t in
// a clip and at s in a sound. With the clocks above
//
//	s = Offset + (1+Drift)·t
//	1 + Drift = (1+pSound) / (1+pClip)
//	Offset    = (1+pSound)·(wClip - wSound + FlightSound - FlightClip)
//
// The offset is thus about the sound as it is heard: the camera hears the
// mouth late by the flight time, and the truth says so. For a simulated room
// the direct path is exact. For a measured response it is, in the band of
// speech, the first point above half of the response's largest magnitude, moved
// to that burst's peak between the samples; the response's own rise makes that
// uncertain by one or two tenths of a millisecond.
//
// Rendering shares no code with the product's signal processing: it has its
// own interpolation, so that a mistake there cannot hide in the truth.
package scene

import "math"

// An Excerpt is a stretch of dry sound, mono.
type Excerpt struct {
	Name    string
	Rate    float64 // samples per second
	Samples []float32
}

// Length returns the excerpt's duration in seconds.
func (e *Excerpt) Length() float64 { return float64(len(e.Samples)) / e.Rate }

// An Utterance is an excerpt spoken at a moment.
type Utterance struct {
	At      float64 // world seconds at the mouth, first sample
	Excerpt *Excerpt
	Speed   float64 // 1 as recorded; 1.05 is 5 % faster and higher; 0 counts as 1
	Gain    float64 // factor; 0 counts as 1
	Talker  int     // who speaks, index into Device.Paths
	Clap    bool    // a clap, not speech
}

// speed returns Speed with its default.
func (u *Utterance) speed() float64 {
	if u.Speed == 0 {
		return 1
	}
	return u.Speed
}

// End returns the world time just after the utterance's last sample.
func (u *Utterance) End() float64 { return u.At + u.Excerpt.Length()/u.speed() }

// Onset returns the world time at which the utterance's sound begins: for a
// clap, when the hands meet.
func (u *Utterance) Onset() float64 {
	if u.Clap {
		return u.At + clapLead/(u.Excerpt.Rate*u.speed())
	}
	return u.At
}

// A Clock is a device's idea of time.
type Clock struct {
	Start float64 // world seconds of the file's first sample
	PPM   float64 // how fast the device counts: +50 counts 50 µs too many each second
	Bend  float64 // ppm by which it counts faster after each further hour
}

// bend is the share of x², x in seconds, that a bent clock counts too many.
func (c Clock) bend() float64 { return c.Bend * 1e-6 / 3600 / 2 }

// World returns the world time of the file's own time t, seconds.
func (c Clock) World(t float64) float64 {
	fast := 1 + c.PPM*1e-6
	return c.Start + 2*t/(fast+math.Sqrt(fast*fast+4*c.bend()*t))
}

// Own returns the file's own time at world time w, seconds.
func (c Clock) Own(w float64) float64 {
	x := w - c.Start
	return x * (1 + c.PPM*1e-6 + c.bend()*x)
}

// A Path is how one talker's sound reaches a device.
type Path struct {
	Flight float64   // seconds along the direct path
	Room   *Response // nil: the direct sound alone
	Gain   float64   // level of speech on arrival, factor of its level at the mouth; 0 counts as 1
	Walk   Walk      // of the talker; the room's response stays as it is
}

// A Walk is a talker who walks away from a device, or, with Further under 0, up
// to it.
type Walk struct {
	From, To float64 // world seconds
	Further  float64 // seconds of flight between the two
}

// left returns when what arrives at world time w left the mouth, world seconds.
func (p Path) left(w float64) float64 {
	before, after := w-p.Flight, w-p.Flight-p.Walk.Further
	switch {
	case p.Walk.Further == 0 || before <= p.Walk.From:
		return before
	case after >= p.Walk.To:
		return after
	}
	away := p.Walk.Further / (p.Walk.To - p.Walk.From)
	return (before + away*p.Walk.From) / (1 + away)
}

// A Device is one recording being made.
type Device struct {
	Name   string
	Clock  Clock
	Length float64 // seconds on its own clock
	Losses []Loss  // where it dropped or repeated samples, in order
	Paths  []Path  // one for each talker
	// Wearer is the talker whose direct path the truth is about (sounds only).
	// What another talker says arrives elsewhere by the difference of the
	// paths, up to some 10 ms.
	Wearer int

	Noise Noise   // kind of surrounding noise
	SNR   float64 // dB, speech while talking over surrounding noise
	Floor float64 // dBFS RMS of the device's own white noise; 0 means none
	Cloth float64 // dBFS RMS of rustling cloth while it rustles; 0 means none
	Gain  float64 // dB, fixed, after noise is added
	AGC   bool    // automatic level, towards -20 dBFS
	Limit bool    // soft limiting above -6 dBFS instead of plain clipping
	Gate  float64 // dB by which the device suppresses what it takes for noise; 0 means none
	Seed  uint64

	Rate int   // Hz of the file; 0 counts as 48000
	Film *Film // moving picture of a clip; nil takes a tiny plain one
}

// A Scene is a whole shoot.
type Scene struct {
	Talk   []Utterance // in order of At
	Clips  []Device
	Sounds []Device
	Babble []*Excerpt        // voices for Noise Babble; nil takes those of Talk
	Notes  map[string]string // by Device.Name: what is special about a recording
}

// A Pair is the truth about one clip and one sound. Its line is that of clocks
// that do not bend and recorders that lose nothing; SoundTime counts both in.
type Pair struct {
	Clip, Sound   int     // index into Scene.Clips and Scene.Sounds
	Offset        float64 // seconds
	Drift         float64 // seconds per second
	From, To      float64 // clip seconds that the sound covers, To excluded; equal when none
	Speech        float64 // seconds of speech within From..To
	ClipClaps     []float64
	SoundClaps    []float64 // where each of ClipClaps stands in the sound, seconds
	FlightCamera  float64   // seconds, included in Offset
	FlightBodyMic float64
}

// Together says whether the two recordings heard the same moment.
func (p Pair) Together() bool { return p.To > p.From }

// Truth returns every clip with every sound, clip by clip.
func (s *Scene) Truth() []Pair {
	pairs := make([]Pair, 0, len(s.Clips)*len(s.Sounds))
	for i := range s.Clips {
		for k := range s.Sounds {
			pairs = append(pairs, s.pair(i, k))
		}
	}
	return pairs
}

// pair works out one entry of Truth.
func (s *Scene) pair(i, k int) Pair {
	clip, sound := &s.Clips[i], &s.Sounds[k]
	there, here := clip.pathOf(sound.Wearer), sound.pathOf(sound.Wearer)
	fast := 1 + sound.Clock.PPM*1e-6
	p := Pair{
		Clip: i, Sound: k,
		Offset:       fast * (clip.Clock.Start - sound.Clock.Start + here.Flight - there.Flight),
		Drift:        (sound.Clock.PPM - clip.Clock.PPM) * 1e-6 / (1 + clip.Clock.PPM*1e-6),
		FlightCamera: there.Flight, FlightBodyMic: here.Flight,
	}
	p.From = max(0, -p.Offset/(1+p.Drift))
	p.To = min(clip.Length, (sound.Length-p.Offset)/(1+p.Drift))
	if p.To <= p.From {
		p.From, p.To = 0, 0
		return p
	}
	for n := range s.Talk {
		u := &s.Talk[n]
		arrives := clip.pathOf(u.Talker).Flight
		from, to := clip.Clock.Own(u.Onset()+arrives), clip.Clock.Own(u.End()+arrives)
		if !u.Clap {
			p.Speech += max(0, min(to, p.To)-max(from, p.From))
		} else if from >= p.From && from < p.To {
			p.ClipClaps = append(p.ClipClaps, from)
			p.SoundClaps = append(p.SoundClaps, p.Offset+(1+p.Drift)*from)
		}
	}
	return p
}

// pathOf returns how talker reaches d; one without an entry is not heard.
func (d *Device) pathOf(talker int) Path {
	if talker < len(d.Paths) {
		return d.Paths[talker]
	}
	return Path{Gain: silent}
}

// silent is the gain of a path nothing comes through.
const silent = 1e-12
