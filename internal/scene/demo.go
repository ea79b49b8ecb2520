package scene

import (
	"embed"
	"io/fs"
	"math"
	"strings"

	"earshot/internal/frame"
)

// voices holds the spoken lines, made by demo/make-voice.sh.
//
//go:embed demo/voice/*.wav
var voices embed.FS

// The demo's two clocks: 50 ppm apart.
const (
	demoCameraPPM = 31
	demoPhonePPM  = -19
)

// demoTake is one clip of the demo as it is shot.
type demoTake struct {
	name  string
	lines []string
	who   int     // who is in the picture: 0 Ada, 1 Ben
	pause float64 // seconds from one line to the next
	clap  bool
	note  string
}

// demoSound is one recording of the phone: it starts before one clip begins
// and stops around the end of another.
type demoSound struct {
	name        string
	first, last int     // clips it runs over; first is -1 for none
	early       float64 // seconds it starts before the first clip
	after       float64 // seconds it stops after the last clip's end; negative: before it
	note        string
}

var demoTakes = []demoTake{
	{name: "CARD/C0007.MP4", lines: []string{"one-1", "one-2", "one-3", "one-4"}, pause: 0.45, clap: true},
	{name: "CARD/C0008.MP4", lines: []string{"two-1", "two-2", "two-3"}, pause: 0.5, note: "clap forgotten"},
	{name: "CARD/C0009.MP4", lines: []string{"spin-1", "spin-2"}, who: 1, pause: 0.6, note: "no sound: alone, as it should be"},
	{name: "CARD/C0010.MP4", lines: []string{"three-1", "three-2", "three-3", "three-4"}, who: 1, pause: 0.5, clap: true},
	{name: "CARD/C0011.MP4", lines: []string{"four-1", "four-2", "four-3", "four-4"}, pause: 0.55, clap: true,
		note: "sound stops early"},
}

var demoSounds = []demoSound{
	{name: "PHONE/rec_20260114_101502.m4a", first: 0, last: 0, early: 3.37, after: 2.1},
	{name: "PHONE/rec_20260114_101633.m4a", first: 1, last: 1, early: 1.62, after: 1.4},
	{name: "PHONE/rec_20260114_101958.m4a", first: -1, note: "no clip: alone, as it should be"},
	{name: "PHONE/rec_20260114_102214.m4a", first: 3, last: 4, early: 2.81, after: -8.3},
}

// demoNote is what the phone hears with no camera running.
var demoNote = []string{"note-1", "note-2"}

// Demo returns the demo shoot: a lesson in bicycle repair, shot with a camera
// across the workshop and a phone worn on the chest. Four takes have a sound,
// among them one without a clap and one whose sound stops early; two takes
// share a sound; one clip and one sound belong to nothing.
func Demo() (*Scene, error) {
	lines, err := demoLines()
	if err != nil {
		return nil, err
	}
	s := &Scene{Notes: map[string]string{}}
	now := 36902.4 // world seconds; 10:15 in the morning
	lone := 0.0
	for i, t := range demoTakes {
		if i == 2 {
			lone = now
			now += 14
		}
		now = s.shootDemo(t, lines, now) + 9.3
	}
	for _, d := range demoSounds {
		s.recordDemo(d, lines, lone)
	}
	for i := range s.Clips {
		s.Clips[i].Film = lessonFilm(s, i, demoTakes[i].who)
	}
	return s, nil
}

// demoLines reads the embedded voices by name.
func demoLines() (map[string]*Excerpt, error) {
	files, err := voices.ReadDir("demo/voice")
	if err != nil {
		return nil, badData("demo/voice", err)
	}
	lines := map[string]*Excerpt{}
	for _, f := range files {
		raw, err := voices.ReadFile("demo/voice/" + f.Name())
		if err != nil {
			return nil, badData(f.Name(), err)
		}
		samples, rate, err := decodeWAV(raw)
		if err != nil {
			return nil, badData(f.Name(), err)
		}
		e := &Excerpt{Name: strings.TrimSuffix(f.Name(), ".wav"), Rate: rate, Samples: samples}
		e.levelTo(SpeechLevel)
		lines[e.Name] = e
	}
	wanted := demoNote
	for _, t := range demoTakes {
		wanted = append(wanted[:len(wanted):len(wanted)], t.lines...)
	}
	for _, name := range wanted {
		if lines[name] == nil {
			return nil, badData("demo/voice/"+name+".wav", fs.ErrNotExist)
		}
	}
	return lines, nil
}

// demoRoom is the workshop as the camera hears it.
func demoRoom() Path {
	room := Shoebox{Size: [3]float64{5.4, 4.3, 2.7}, Talker: [3]float64{1.7, 2.4, 1.55}, Mic: [3]float64{3.6, 1.5, 1.35},
		RT60: 0.42, Seed: 5}
	return Path{Flight: room.Flight(), Room: room.Response(48000)}
}

// shootDemo adds a clip that starts at world second now, with what is said in
// it, and returns its end. A clap falls on the start of a frame.
func (s *Scene) shootDemo(t demoTake, lines map[string]*Excerpt, now float64) float64 {
	clip := Device{Name: t.name, Clock: Clock{Start: now, PPM: demoCameraPPM}, Noise: Traffic, SNR: 13, Floor: -66,
		Gain: -1, AGC: true, Limit: true, Seed: uint64(700 + len(s.Clips)), Rate: 48000}
	if len(s.Clips) == 0 {
		clip.Paths = []Path{demoRoom()}
	} else {
		clip.Paths = s.Clips[0].Paths
	}
	at := now + 0.9
	if t.clap {
		meet := clip.Clock.World(float64(29+3*len(s.Clips)) / 25)
		s.Talk = append(s.Talk, ClapAt(meet, uint64(40+len(s.Clips)), 0))
		at = meet + 0.9
	}
	end := s.say(t.lines, lines, at, t.pause)
	clip.Length = math.Ceil((end+0.9-now)*25) / 25
	s.Clips = append(s.Clips, clip)
	if t.note != "" {
		s.Notes[t.name] = t.note
	}
	return now + clip.Length
}

// recordDemo adds one recording of the phone.
func (s *Scene) recordDemo(d demoSound, lines map[string]*Excerpt, lone float64) {
	sound := Device{Name: d.name, Paths: []Path{{Flight: 0.19 / SpeedOfSound}}, Floor: -62, Cloth: -44, Gain: -1.5,
		Limit: true, Seed: uint64(800 + len(s.Sounds)), Rate: 44100}
	sound.Clock.PPM = demoPhonePPM
	if d.first < 0 {
		sound.Clock.Start = lone
		sound.Length = s.say(demoNote, lines, lone+0.8, 0.5) + 0.7 - lone
	} else {
		last := &s.Clips[d.last]
		sound.Clock.Start = s.Clips[d.first].Clock.Start - d.early
		sound.Length = last.Clock.World(last.Length) + d.after - sound.Clock.Start
	}
	s.Sounds = append(s.Sounds, sound)
	if d.note != "" {
		s.Notes[d.name] = d.note
	}
}

// say speaks lines one after the other from world second at and returns the
// end of the last.
func (s *Scene) say(names []string, lines map[string]*Excerpt, at, pause float64) float64 {
	for i, name := range names {
		if i > 0 {
			at += pause + 0.15*float64(i%2)
		}
		u := Utterance{At: at, Excerpt: lines[name]}
		s.Talk = append(s.Talk, u)
		at = u.End()
	}
	return at
}

// lessonFilm is the drawn picture of one demo clip.
func lessonFilm(s *Scene, i, who int) *Film {
	l := newLesson(s, i, who)
	return &Film{Width: lessonWidth, Height: lessonHeight, Rate: frame.Rate{Num: 25, Den: 1}, Codec: "h264",
		Args: []string{"-preset", "ultrafast", "-crf", "25", "-x264-params", "deblock=1,1", "-g", "50"}, Draw: l.draw}
}
