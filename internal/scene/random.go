package scene

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sort"
)

// Options asks for a kind of shoot. The zero value is the default.
type Options struct {
	Recorders int                    // body mics, each on its own talker; 0 counts as 1, at most 2
	MinTakes  int                    // 0 counts as 5
	MaxTakes  int                    // 0 counts as 12
	MinTake   float64                // seconds; 0 counts as 5
	MaxTake   float64                // seconds; 0 counts as 480
	Phrases   []*Excerpt             // what can be said; nil reads Phrases
	Rooms     []*Response            // measured rooms; nil reads Rooms
	Boxes     bool                   // simulated rooms only: the direct path is exact
	Measured  bool                   // measured rooms only; where neither is set, half of each
	SNR       [2]float64             // dB, range for clips; both 0 counts as 0 to 25
	Quiet     bool                   // no noise anywhere, no automatic level
	Names     func(int, bool) string // name of recording n (from 1) and whether it is a clip; nil = CARD/C0001.MP4, MIC/0001.WAV
}

// complete fills in defaults and reads what is needed.
func (o *Options) complete() (err error) {
	o.Recorders = min(2, max(1, o.Recorders))
	if o.MinTakes == 0 {
		o.MinTakes = 5
	}
	if o.MaxTakes == 0 {
		o.MaxTakes = max(12, o.MinTakes)
	}
	if o.MinTake == 0 {
		o.MinTake = 5
	}
	if o.MaxTake == 0 {
		o.MaxTake = 480
	}
	if o.MaxTakes < o.MinTakes || !(o.MaxTake >= o.MinTake && o.MinTake > 0) {
		return fmt.Errorf("a shoot of %d to %d takes of %g to %g s cannot be made up", o.MinTakes, o.MaxTakes, o.MinTake, o.MaxTake)
	}
	if o.SNR == [2]float64{} {
		o.SNR = [2]float64{0, 25}
	}
	if o.Names == nil {
		o.Names = func(n int, clip bool) string {
			if clip {
				return fmt.Sprintf("CARD/C%04d.MP4", n)
			}
			return fmt.Sprintf("MIC/%04d.WAV", n)
		}
	}
	if o.Phrases == nil {
		if o.Phrases, err = Phrases(); err != nil {
			return err
		}
	}
	if o.Rooms == nil && !o.Boxes {
		o.Rooms, err = Rooms()
	}
	return err
}

// RandomShoot makes up a shoot: one camera, one or two body mics, takes of
// many lengths. In every shoot there is a retake of the same words, a false
// start, a sound that starts late, one that stops early, a sound over several
// clips, a clip with no sound and a sound with no clip, and now and then a
// forgotten clap. The same seed and options give the same shoot.
func RandomShoot(seed uint64, opt Options) (*Scene, error) {
	if err := opt.complete(); err != nil {
		return nil, err
	}
	d := &director{opt: opt, rng: newRand(seed, 11), seed: seed << 16,
		scene: &Scene{Notes: map[string]string{}}}
	d.script = newScript(opt.Phrases, d.rng)
	d.dress()
	d.shoot()
	talk := d.scene.Talk
	sort.SliceStable(talk, func(i, k int) bool { return talk[i].At < talk[k].At })
	return d.scene, nil
}

// A director makes up one shoot.
type director struct {
	opt    Options
	rng    *rand.Rand
	seed   uint64
	scene  *Scene
	script *script

	camera Device    // what all clips share
	mics   [2]Device // what each recorder's sounds share
	now    float64   // world seconds
	clips  int
	sounds int
	words  []int // phrases of the last full take
}

// between returns a number from low to high.
func (d *director) between(low, high float64) float64 { return low + (high-low)*d.rng.Float64() }

// dress picks the devices, their clocks and the room.
func (d *director) dress() {
	d.now = d.between(10, 100)
	d.camera = Device{Clock: Clock{PPM: d.between(-50, 50)}, Floor: d.between(-75, -60), Limit: true,
		Gain: d.between(-6, 3), AGC: d.rng.IntN(2) == 0, Noise: Pink + Noise(d.rng.IntN(4))}
	if d.opt.Quiet {
		d.camera.Noise, d.camera.AGC, d.camera.Gain, d.camera.Floor = Quiet, false, 0, 0
	}
	for range d.opt.Recorders {
		d.camera.Paths = append(d.camera.Paths, d.room())
	}
	for k := range d.opt.Recorders {
		mic := Device{Clock: Clock{PPM: d.between(-50, 50)}, Wearer: k, Gain: d.between(-2, 2),
			Floor: d.between(-70, -55), Cloth: d.between(-45, -32)}
		if d.opt.Quiet {
			mic.Floor, mic.Cloth = 0, 0
		}
		mic.Paths = make([]Path, d.opt.Recorders)
		for talker := range mic.Paths {
			mic.Paths[talker] = Path{Flight: 1.2 / SpeedOfSound, Gain: decibel(-16)}
		}
		mic.Paths[k] = Path{Flight: d.between(0.12, 0.3) / SpeedOfSound}
		d.mics[k] = mic
	}
}

// room picks the way from a talker to the camera.
func (d *director) room() Path {
	if len(d.opt.Rooms) > 0 && (d.opt.Measured || d.rng.IntN(2) == 0) {
		return Path{Flight: d.between(1, 5) / SpeedOfSound, Room: d.opt.Rooms[d.rng.IntN(len(d.opt.Rooms))]}
	}
	box := Shoebox{Size: [3]float64{d.between(3, 8), d.between(3, 6), d.between(2.4, 3.5)},
		RT60: d.between(0.25, 0.8), Seed: d.rng.Uint64()}
	for i := range box.Size {
		box.Talker[i] = d.between(0.15, 0.85) * box.Size[i]
		box.Mic[i] = d.between(0.15, 0.85) * box.Size[i]
	}
	box.Talker[2], box.Mic[2] = d.between(1.3, 1.7), d.between(1.2, 1.6)
	return Path{Flight: box.Flight(), Room: box.Response(48000)}
}

// A take is one clip to be shot.
type take struct {
	length float64
	note   string
	retake bool
	clap   bool
}

// plan lists the takes: lengths spread evenly on a logarithmic scale, one over
// five minutes where the options allow, a false start before and a retake
// after a random one.
func (d *director) plan() []take {
	takes := make([]take, d.opt.MinTakes+d.rng.IntN(d.opt.MaxTakes-d.opt.MinTakes+1))
	for i := range takes {
		length := d.opt.MinTake * math.Pow(d.opt.MaxTake/d.opt.MinTake, d.rng.Float64())
		takes[i] = take{length: length, clap: d.rng.IntN(4) > 0}
	}
	if len(takes) < 4 {
		return takes
	}
	again := 1 + d.rng.IntN(len(takes)-2)
	if d.opt.MaxTake > 300 {
		takes[(again+2)%len(takes)].length = d.between(300, d.opt.MaxTake)
	}
	takes[again].retake, takes[again].note = true, "a retake of the same words"
	takes[again].length = takes[again-1].length * d.between(0.95, 1.1)
	start := (again + 1) % len(takes)
	takes[start].length = min(d.opt.MaxTake, d.between(d.opt.MinTake, 2*d.opt.MinTake))
	takes[start].note = "a false start"
	return takes
}

// shoot plays the takes, some under one long sound, and the two loners.
func (d *director) shoot() {
	takes := d.plan()
	lonelyClip, lonelySound := d.rng.IntN(len(takes)), d.rng.IntN(len(takes))
	late, early := d.rng.IntN(len(takes)), d.rng.IntN(len(takes))
	long := d.rng.IntN(max(1, len(takes)-2))
	for i := 0; i < len(takes); {
		n := 1
		if i >= long {
			n, long = min(len(takes)-i, 2+d.rng.IntN(4)), len(takes)
		}
		d.group(takes[i:i+n], late >= i && late < i+n, early >= i && early < i+n)
		if lonelyClip >= i && lonelyClip < i+n {
			d.lonelyClip()
		}
		if lonelySound >= i && lonelySound < i+n {
			d.lonelySound()
		}
		i += n
	}
}

// group shoots takes under one sound from each recorder.
func (d *director) group(takes []take, late, early bool) {
	before := d.between(2, 20)
	begin := d.now
	d.now += before
	if late {
		begin = d.now + d.between(0.1, 0.35)*takes[0].length
	}
	for i, t := range takes {
		d.take(t)
		if i+1 < len(takes) {
			gap := d.between(4, 30)
			if d.rng.IntN(2) == 0 {
				d.talk(d.now+1, d.now+gap-1, nil)
			}
			d.now += gap
		}
	}
	end := d.now + d.between(1, 15)
	if early {
		end = d.now - d.between(0.15, 0.45)*takes[len(takes)-1].length
	}
	end = max(end, begin+2)
	for k := range d.opt.Recorders {
		name := d.sound(k, begin+0.8*float64(k)*d.rng.Float64(), end+float64(k)*d.rng.Float64())
		d.note(name, late, "starts late")
		d.note(name, early, "stops early")
		d.note(name, len(takes) > 1, "holds several clips")
	}
	d.now = max(d.now, end) + d.between(5, 40)
}

// take shoots one clip from now on and moves now to its end.
func (d *director) take(t take) {
	name := d.clip(d.now, t.length)
	d.note(name, t.note != "", t.note)
	d.note(name, !t.clap, "no clap")
	from := d.now + d.between(0.5, 1.5)
	if t.clap && t.length > 4 {
		d.scene.Talk = append(d.scene.Talk, ClapAt(from, d.seed+uint64(len(d.scene.Talk)), 0))
		from += d.between(0.6, 1.5)
	}
	var words []int
	if t.retake {
		words = d.words
	}
	d.words = d.talk(from, d.now+t.length, words)
	d.now += t.length
}

// lonelyClip shoots a clip while no recorder runs.
func (d *director) lonelyClip() {
	length := d.between(d.opt.MinTake, max(2*d.opt.MinTake, d.opt.MaxTake/6))
	d.note(d.clip(d.now, length), true, "no sound belongs to it")
	d.talk(d.now+1, d.now+length, nil)
	d.now += length + d.between(5, 20)
}

// lonelySound records while the camera is off.
func (d *director) lonelySound() {
	length := d.between(d.opt.MinTake, max(2*d.opt.MinTake, d.opt.MaxTake/6))
	for k := range d.opt.Recorders {
		d.note(d.sound(k, d.now, d.now+length), true, "no clip belongs to it")
	}
	d.talk(d.now+1, d.now+length, nil)
	d.now += length + d.between(5, 20)
}

// note adds a remark on a recording.
func (d *director) note(name string, holds bool, remark string) {
	if !holds {
		return
	}
	if was := d.scene.Notes[name]; was != "" {
		remark = was + "; " + remark
	}
	d.scene.Notes[name] = remark
}

// clip adds a camera recording and returns its name.
func (d *director) clip(at, length float64) string {
	d.clips++
	c := d.camera
	c.Name, c.Clock.Start, c.Length = d.opt.Names(d.clips, true), at, length
	c.SNR, c.Seed = d.between(d.opt.SNR[0], d.opt.SNR[1]), d.seed+uint64(1000+d.clips)
	d.scene.Clips = append(d.scene.Clips, c)
	return c.Name
}

// sound adds a recording of recorder k from world time from to to.
func (d *director) sound(k int, from, to float64) string {
	d.sounds++
	s := d.mics[k]
	s.Name, s.Clock.Start, s.Length = d.opt.Names(d.sounds, false), from, to-from
	s.Seed = d.seed + uint64(2000+d.sounds)
	d.scene.Sounds = append(d.scene.Sounds, s)
	return s.Name
}

// talk fills from..to with phrases and pauses: those listed in words first,
// new ones after. It returns what was said.
func (d *director) talk(from, to float64, words []int) []int {
	var said []int
	talker := d.rng.IntN(d.opt.Recorders)
	for {
		var which int
		var speed float64
		if len(said) < len(words) {
			which, speed = d.script.again(words[len(said)])
		} else {
			which, speed = d.script.next()
		}
		u := Utterance{At: from, Excerpt: d.opt.Phrases[which], Speed: speed, Talker: talker, Gain: decibel(d.between(-2, 2))}
		if u.End() > to {
			return said
		}
		d.scene.Talk = append(d.scene.Talk, u)
		said = append(said, which)
		from = u.End() + 0.1*math.Pow(12, d.rng.Float64())
		if d.rng.IntN(12) == 0 {
			from += d.between(1, 4)
		}
		if d.rng.IntN(3) == 0 {
			talker = d.rng.IntN(d.opt.Recorders)
		}
	}
}
