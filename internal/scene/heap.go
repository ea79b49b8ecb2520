package scene

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// A Likeness is what recordings of different moments have in common, so that a
// careless ear takes one for another.
type Likeness int

// The kinds of likeness.
const (
	SameVoice Likeness = iota // one voice in one room, other words
	Retakes                   // the same words: faster or slower, other pauses, now and then in another order
	SameMusic                 // one recording of music plays behind other talk
	SameSong                  // one song behind other talk, played anew each time
	RoomTone                  // no talk: the room and the devices' own noise
	SameMains                 // hum of one mains whose rate wanders alike each time
	SameClaps                 // the same recorded claps before other talk
	NoTalk                    // one recording of music and hardly a word
)

// Likenesses lists every kind.
func Likenesses() []Likeness {
	return []Likeness{SameVoice, Retakes, SameMusic, SameSong, RoomTone, SameMains, SameClaps, NoTalk}
}

// String names the kind in words.
func (l Likeness) String() string {
	return [...]string{"same voice, other words", "retakes of the same words", "the same recording of music", "the same song, played anew",
		"room tone", "hum of the same mains", "the same recorded claps", "the same music and hardly a word"}[l]
}

// A Heap asks for the recordings of one camera and one body mic at many
// moments that are alike in one way. Most moments have a clip and a sound,
// some only one of them. One clip met with each sound is a meeting; nearly all
// are of different moments.
//
// No two utterances of a heap are the same sound: a phrase that is said again
// is said at a speed at least 0.4 % off, since one recording at one speed is
// one moment to any ear, so far as it goes. What the kind says is common (the
// piece of music, the mains, the claps) is the same samples, and only the rest
// tells the moments apart. A heap of retakes has at most 24 moments.
type Heap struct {
	Seed      uint64
	Kind      Likeness
	Moments   int
	Clip      [2]float64 // seconds: range of lengths
	Sound     [2]float64 // seconds: range of lengths
	Phrases   []*Excerpt
	Responses []*Response // rooms to choose from
}

// A stacker makes up one heap.
type stacker struct {
	Heap
	rng    *rand.Rand
	scene  *Scene
	voice  []int // phrases of the voice that talks
	speeds map[int][]float64
	song   []note
	shared *Excerpt // what plays behind every moment
	camera Device
	mic    Device
}

// talkers of a heap: the wearer of the body mic, and what stands in the room.
const (
	wearer = iota
	loudspeaker
)

// Scene makes the heap up. The same heap gives the same scene.
func (h Heap) Scene() *Scene {
	s := &stacker{Heap: h, rng: newRand(h.Seed, 31), scene: &Scene{}, speeds: map[int][]float64{}}
	s.cast()
	s.dress()
	now := 10.0
	for n := range h.Moments {
		now = s.moment(n, now) + apartMoments
	}
	return s.scene
}

// apartMoments is how far moments lie apart in world time, seconds: more than
// the longest piece that plays behind them, so that none is heard in two.
const apartMoments = 300

func (s *stacker) between(low, high float64) float64 { return low + (high-low)*s.rng.Float64() }

// cast chooses who talks: for talk that must be alike the phrases of one
// voice, of those that have enough, else anybody's.
func (s *stacker) cast() {
	byName := map[string][]int{}
	var names []string
	for i, p := range s.Phrases {
		if byName[p.Name] == nil {
			names = append(names, p.Name)
		}
		byName[p.Name] = append(byName[p.Name], i)
	}
	var rich []string
	for _, n := range names {
		if len(byName[n]) >= 4 {
			rich = append(rich, n)
		}
	}
	if len(rich) > 0 && s.Kind != Retakes {
		s.voice = byName[rich[s.rng.IntN(len(rich))]]
		return
	}
	s.voice = s.rng.Perm(len(s.Phrases))
}

// dress puts the devices in their places and makes what plays in the room.
func (s *stacker) dress() {
	room := func() *Response { return s.Responses[s.rng.IntN(len(s.Responses))] }
	s.camera = Device{Clock: Clock{PPM: s.between(-50, 50)}, Noise: Pink, Floor: -70,
		Paths: []Path{{Flight: s.between(1, 5) / SpeedOfSound, Room: room()}}}
	s.mic = Device{Clock: Clock{PPM: s.between(-50, 50)}, Floor: s.between(-72, -60), Cloth: s.between(-45, -32),
		Paths: []Path{{Flight: s.between(0.12, 0.3) / SpeedOfSound}}}
	far, near := s.between(-10, 5), s.between(-25, -6)
	switch s.Kind {
	case SameMusic:
		s.song = newSong(s.Seed, 120)
		s.shared = perform(s.song, s.Seed, 1, 0)
	case NoTalk:
		s.song = newSong(s.Seed, 120)
		s.shared = perform(s.song, s.Seed, 1, 0)
		far, near = s.between(-3, 3), s.between(-12, 0)
	case SameSong:
		s.song = newSong(s.Seed, 120)
	case RoomTone:
		far, near = s.between(-30, -15), s.between(-35, -20)
	case SameMains:
		s.shared = mains(s.Seed, 120)
		far, near = s.between(-25, -5), s.between(-25, -5)
	default:
		return
	}
	s.camera.Paths = append(s.camera.Paths, Path{Flight: s.between(2, 4) / SpeedOfSound, Room: room(), Gain: decibel(far)})
	s.mic.Paths = append(s.mic.Paths, Path{Flight: s.between(1, 2) / SpeedOfSound, Room: room(), Gain: decibel(near)})
}

// moment lays out moment n from world time begin on and returns its end: a
// sound, and a clip within it that may run past either end by a little.
func (s *stacker) moment(n int, begin float64) (end float64) {
	long := s.log(s.Sound)
	length := min(s.log(s.Clip), long)
	start := begin + s.between(-0.05, 1.05)*(long-length)
	clip, sound := s.camera, s.mic
	clip.Name, sound.Name = fmt.Sprintf("CARD/C%04d.MP4", n+1), fmt.Sprintf("MIC/%04d.WAV", n+1)
	clip.Clock.Start, clip.Length = start, length
	clip.SNR, clip.Seed = s.between(3, 25), s.rng.Uint64()
	sound.Clock.Start, sound.Length, sound.Seed = begin, long, s.rng.Uint64()
	lone := s.rng.IntN(8)
	if lone != 0 {
		s.scene.Clips = append(s.scene.Clips, clip)
	}
	if lone != 1 {
		s.scene.Sounds = append(s.scene.Sounds, sound)
	}
	end = max(begin+long, start+length) + 1
	s.behind(begin-3, end)
	s.speak(min(begin, start), start+s.between(0.3, 1.5), end)
	return end
}

// log draws from a range, evenly on a logarithmic scale.
func (s *stacker) log(r [2]float64) float64 { return r[0] * math.Pow(r[1]/r[0], s.rng.Float64()) }

// behind lays what plays in the room: the shared piece from a place of its own
// on, again and again, or one made for this moment.
func (s *stacker) behind(from, to float64) {
	e, seed := s.shared, s.rng.Uint64()
	switch s.Kind {
	case SameSong:
		e = perform(s.song, seed, 1+s.between(-0.05, 0.05), 0.012)
	case RoomTone:
		e = roomTone(seed, to-from)
	}
	if e == nil {
		return
	}
	for at := from - s.rng.Float64()*e.Length()*0.7; at < to; at += e.Length() + 1 {
		s.scene.Talk = append(s.scene.Talk, Utterance{At: at, Excerpt: e, Talker: loudspeaker})
	}
}

// speak fills a moment with what its kind has to say: claps near the clip's
// beginning, at clap, and talk all along.
func (s *stacker) speak(from, clap, to float64) {
	switch s.Kind {
	case RoomTone:
		return
	case NoTalk:
		s.say(from+s.between(0, 1), from+s.between(1, 5), nil)
		return
	case SameClaps:
		gap := 0.45
		for range 1 + s.rng.IntN(3) {
			s.scene.Talk = append(s.scene.Talk, ClapAt(clap, s.Seed, wearer))
			clap += gap
		}
		if s.rng.IntN(4) > 0 { // else the claps are about all there is
			s.say(from, clap-2, nil)
			s.say(clap+0.5, to, nil)
		}
		return
	case Retakes:
		words := append([]int(nil), s.voice...)
		if s.rng.IntN(3) == 0 {
			s.rng.Shuffle(len(words), func(i, j int) { words[i], words[j] = words[j], words[i] })
		}
		skip := s.rng.IntN(min(6, len(words)))
		s.say(from, to, words[skip:])
		return
	}
	s.say(from, to, nil)
}

// say fills from..to: with the words given as they are, or with syllables of
// the voice in an order that was never heard.
func (s *stacker) say(from, to float64, words []int) {
	for n := 0; from < to; n++ {
		which := s.voice[s.rng.IntN(len(s.voice))]
		e := s.Phrases[which]
		if words != nil {
			which = words[n%len(words)]
			e = s.Phrases[which]
		} else {
			e = Jumbled(e, s.rng.Uint64())
			if s.rng.IntN(3) == 0 {
				e = Reversed(e)
			}
		}
		u := Utterance{At: from, Excerpt: e, Speed: s.speed(which), Talker: wearer, Gain: decibel(s.between(-2, 2))}
		if u.End() > to {
			return
		}
		s.scene.Talk = append(s.scene.Talk, u)
		from = u.End() + 0.1*math.Pow(15, s.rng.Float64())
	}
}

// speed returns one that the phrase has not had in this heap: within 5 % of its
// own, 0.4 % from any other. There are 26; what is said more often than that,
// in scrambled syllables, comes at any.
func (s *stacker) speed(which int) float64 {
	left, begun := s.speeds[which]
	if !begun {
		for off := -0.05; off < 0.0501; off += 0.004 {
			left = append(left, 1+off)
		}
		s.rng.Shuffle(len(left), func(i, j int) { left[i], left[j] = left[j], left[i] })
	}
	if len(left) == 0 {
		return s.between(0.95, 1.05)
	}
	s.speeds[which] = left[1:]
	return left[0]
}
