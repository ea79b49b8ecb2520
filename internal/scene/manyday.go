package scene

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// The people and things that are heard on a many-device day.
const (
	FirstWearer  = iota // wears the first body mic
	SecondWearer        // wears the second
	Bystander           // wears none, stands beside camera A
	Loudspeaker         // plays a recording back
	heardOnDay
)

// The kinds of moments of a many-device day.
const (
	OneTalker  = "one talker"
	TwoTalkers = "two talkers"
	Short      = "camera A rolls for three seconds or four"
	Masked     = "a bystander talks into camera A"
	OffMic     = "only a bystander talks while camera A rolls"
	Little     = "one recorder in a bag"
	Rehearsal  = "a rehearsal without camera A"
	Playback   = "the rehearsal is played back"
)

// A Moment is what happens between two world times of a day.
type Moment struct {
	Kind    string
	Talkers []int // who is to be heard, a bystander aside
	Clips   []int // that were filmed, indices into Scene.Clips
}

// A ManyDay is a made-up day of two cameras, two body mics and a pocket
// recorder on the table, in one room, with moments in which one camera hears
// too little to be found by itself, and one in which what it hears is a
// playback of another moment.
type ManyDay struct {
	Scene   *Scene
	Moments []Moment
}

// manyDayKinds is the order of the day, in groups of one recorder file each.
var manyDayKinds = [][]string{
	{OneTalker, TwoTalkers, OneTalker, TwoTalkers, OneTalker},
	{OneTalker, TwoTalkers, OneTalker, OneTalker, TwoTalkers},
	{Short, Masked, OneTalker, Short, OffMic},
	{Masked, Short, OffMic, OneTalker, Masked},
	{OneTalker, Rehearsal, OneTalker, Little, Little},
	{Playback, OneTalker, OneTalker, OneTalker, OneTalker},
}

// Which groups the first body mic and the pocket recorder miss, and in which
// the second lies in a bag, counted from 0. Where the pocket recorder is off,
// both body mics are under thick cloth. The second is off during the rehearsal:
// it starts after it.
const firstOff, bagged = 5, 4

func pocketOff(group int) bool { return group == 2 || group == 3 }

// Where everything stands, metres.
var (
	standing   = [heardOnDay][2]float64{{2.0, 2.5}, {3.4, 2.5}, {3.6, 0.9}, {3.0, 3.7}}
	onCameras  = [2][2]float64{{2.3, 0.5}, {5.6, 4.2}}
	onTable    = [2]float64{2.6, 2.9}
	roomOfDay  = [3]float64{7, 5, 2.7}
	bodyMicsAt = 0.18 // metres from their wearers' mouths
)

// NewManyDay makes the day up from phrases. The same seed gives the same.
func NewManyDay(seed uint64, phrases []*Excerpt) *ManyDay {
	d := &dayMaker{director: director{opt: Options{Phrases: phrases}, rng: newRand(seed, 31), seed: seed << 16, scene: &Scene{}},
		day: &ManyDay{}}
	d.script = newScript(phrases, d.rng)
	d.day.Scene = d.scene
	d.devices()
	d.now = 5
	for g, kinds := range manyDayKinds {
		d.groupOf(g, kinds)
	}
	d.pocket(d.pocketFrom, d.now)
	sort.SliceStable(d.scene.Talk, func(i, k int) bool { return d.scene.Talk[i].At < d.scene.Talk[k].At })
	return d.day
}

type dayMaker struct {
	director
	day        *ManyDay
	cameras    [2]Device
	bodyMics   [2]Device
	table      Device
	filmed     [2]int
	pocketFrom float64
	rehearsal  []Utterance
}

// devices gives every device its clock and its paths.
func (d *dayMaker) devices() {
	for i := range d.cameras {
		c := Device{Clock: Clock{PPM: d.between(-40, 40)}, Noise: Pink, SNR: d.between(12, 20), Floor: -70, Limit: true}
		for talker := range heardOnDay {
			c.Paths = append(c.Paths, d.across(standing[talker], onCameras[i], 2, 3))
		}
		d.cameras[i] = c
	}
	for k := range d.bodyMics {
		m := Device{Clock: Clock{PPM: d.between(-40, 40)}, Wearer: k, Floor: -64, Cloth: -45}
		for talker := range heardOnDay {
			p := d.across(standing[talker], standing[k], bodyMicsAt, 0)
			if talker == k {
				p = Path{Flight: bodyMicsAt / SpeedOfSound}
			}
			m.Paths = append(m.Paths, p)
		}
		d.bodyMics[k] = m
	}
	d.table = Device{Clock: Clock{PPM: d.between(-40, 40)}, Floor: -66}
	for talker := range heardOnDay {
		d.table.Paths = append(d.table.Paths, d.across(standing[talker], onTable, 0.8, 10))
	}
	d.cameras[0].Paths[Bystander].Gain = 1 // turned up where that is wanted
}

// across is the way from one place of the room to another: as loud as the
// distance says, 1 at unit metres, with the room's response at a
// direct-to-reverberant ratio, dB.
func (d *dayMaker) across(from, to [2]float64, unit, drr float64) Path {
	box := Shoebox{Size: roomOfDay, Talker: [3]float64{from[0], from[1], 1.5}, Mic: [3]float64{to[0], to[1], 1.4}, RT60: 0.35, Seed: d.rng.Uint64()}
	r := box.Response(48000)
	r.toDRR(drr)
	return Path{Flight: box.Flight(), Room: r, Gain: unit / box.Distance()}
}

// groupOf plays a group of moments under one file of each recorder.
func (d *dayMaker) groupOf(g int, kinds []string) {
	begin := d.now
	second := begin
	if pocketOff(g) && !pocketOff(g-1) {
		d.pocket(d.pocketFrom, begin)
	}
	d.now += d.between(3, 6)
	for i, kind := range kinds {
		d.moment(kind, (g+i)%2, g)
		d.now += d.between(4, 8)
		if kind == Rehearsal {
			second = d.now - 2
		}
	}
	if pocketOff(g) {
		d.pocketFrom = d.now + 1
	}
	first, other := d.bodyMics[0], d.bodyMics[1]
	if pocketOff(g) {
		first, other = muffled(first, 10, -36, -24), muffled(other, 10, -36, -24)
	}
	if g == bagged {
		other = muffled(other, 26, -42, -38)
	}
	if g != firstOff {
		d.add(&first, fmt.Sprintf("LAV1/%04d.WAV", g+1), begin+d.rng.Float64(), d.now)
	}
	d.add(&other, fmt.Sprintf("LAV2/M%04d.WAV", g+1), second+d.rng.Float64(), d.now+0.5)
}

// muffled is a microphone under so many dB of cloth, with noise and rustling,
// dBFS.
func muffled(m Device, by, floor, cloth float64) Device {
	m.Floor, m.Cloth = floor, cloth
	m.Paths = slices.Clone(m.Paths)
	for i := range m.Paths {
		m.Paths[i].Gain = factor(m.Paths[i].Gain) * decibel(-by)
	}
	return m
}

func (d *dayMaker) pocket(from, to float64) {
	d.sounds++
	d.add(&d.table, fmt.Sprintf("POCKET/P%04d.WAV", d.sounds), from, to)
}

// add adds a recorder's file.
func (d *dayMaker) add(like *Device, name string, from, to float64) {
	s := *like
	s.Name, s.Clock, s.Length, s.Seed = name, d.wander(s.Clock, from), to-from, d.seed+uint64(2000+len(d.scene.Sounds))
	d.scene.Sounds = append(d.scene.Sounds, s)
}

// wander is a device's clock from a world time on: its rate is never quite the
// same.
func (d *dayMaker) wander(c Clock, from float64) Clock {
	return Clock{Start: from, PPM: c.PPM + 0.3*d.rng.NormFloat64()}
}

// film adds a clip of camera i.
func (d *dayMaker) film(i int, from, to float64, change func(*Device)) {
	c := d.cameras[i]
	d.filmed[i]++
	c.Name = fmt.Sprintf([2]string{"CAM_A/C%04d.MP4", "CAM_B/D%04d.MP4"}[i], d.filmed[i])
	c.Clock, c.Length, c.Seed = d.wander(c.Clock, from), to-from, d.seed+uint64(1000+len(d.scene.Clips))
	if change != nil {
		c.Paths = slices.Clone(c.Paths)
		change(&c)
	}
	m := &d.day.Moments[len(d.day.Moments)-1]
	m.Clips = append(m.Clips, len(d.scene.Clips))
	d.scene.Clips = append(d.scene.Clips, c)
}

// moment plays one moment from now on; wearer is who talks where one does.
func (d *dayMaker) moment(kind string, wearer, group int) {
	talkers := []int{wearer}
	if kind == TwoTalkers {
		talkers = []int{FirstWearer, SecondWearer}
	}
	if group == firstOff {
		talkers = []int{SecondWearer}
	}
	switch kind {
	case Rehearsal:
		talkers = []int{FirstWearer}
	case Playback:
		talkers = []int{Loudspeaker}
	}
	d.day.Moments = append(d.day.Moments, Moment{Kind: kind, Talkers: talkers})
	from, length := d.now, d.between(18, 32)
	to := from + length
	d.now = to
	switch kind {
	case Short:
		d.speak(talkers, from, to)
		at := from + d.between(6, 10)
		d.film(0, at, at+d.between(3, 4), nil)
		d.film(1, from-1, to, nil)
	case Masked:
		d.speak(talkers, from, to)
		d.speak([]int{Bystander}, from, to)
		d.film(0, from+1, from+10, func(c *Device) { c.Paths[Bystander].Gain = decibel(26) })
		d.film(1, from-1, to, nil)
	case OffMic:
		half := from + length*0.6
		d.speak(talkers, from, half)
		d.speak([]int{Bystander}, half, to)
		d.film(0, half+0.5, to-0.5, nil)
		d.film(1, from-1, to, nil)
	case Rehearsal:
		n := len(d.scene.Talk)
		d.speak(talkers, from, to)
		d.rehearsal = slices.Clone(d.scene.Talk[n:])
		d.film(1, from+1, to, nil)
	case Playback:
		later := from - d.rehearsal[0].At
		for _, u := range d.rehearsal {
			u.At, u.Talker = u.At+later, Loudspeaker
			d.scene.Talk = append(d.scene.Talk, u)
			d.now = math.Max(to, u.End())
		}
		d.film(0, from+0.5, d.now, nil)
	default:
		d.speak(talkers, from, to)
		d.film(0, from, to-1, nil)
		d.film(1, from+d.between(-2, 2), to, nil)
	}
}

// speak lets talkers say new phrases in turns.
func (d *dayMaker) speak(talkers []int, from, to float64) {
	for turn := 0; ; turn++ {
		which, speed := d.script.next()
		u := Utterance{At: from, Excerpt: d.opt.Phrases[which], Speed: speed, Talker: talkers[turn/2%len(talkers)], Gain: decibel(d.between(-2, 2))}
		if u.End() > to {
			return
		}
		d.scene.Talk = append(d.scene.Talk, u)
		from = u.End() + d.between(0.15, 0.7)
	}
}

// Heard is where sound b hears what clip a hears at its own time t of a
// talker's direct sound: b's own time, seconds. Either may be a clip or a
// sound.
func Heard(a, b *Device, talker int, t float64) float64 {
	return b.Clock.Own(a.Clock.World(t) - a.pathOf(talker).Flight + b.pathOf(talker).Flight)
}
