package scene

import (
	"fmt"
	"math"
)

// The lesson's picture.
const (
	lessonWidth  = 480
	lessonHeight = 270
)

// A lesson draws a demo clip: somebody behind a workbench, a wheel in its
// stand, and a strip with the clip's own time. Everything that moves follows
// world time, as the sound does: the mouth the voice, the hands the claps.
type lesson struct {
	clip   *Device
	talk   []Utterance
	claps  []float64 // world seconds
	pushes []float64 // world seconds at which a hand turns the wheel
	look   look
	mic    bool   // the phone is worn
	still  []byte // what never moves
}

// A look is how somebody is dressed.
type look struct {
	skin, hair, shirt, apron, cheek paint
	bun                             bool
}

var looks = [2]look{
	{skin: rgb(0xe8b796), hair: rgb(0x5b3423), shirt: rgb(0xd9694f), apron: rgb(0x2f5d73), cheek: rgb(0xdd9379), bun: true},
	{skin: rgb(0x9c6b4b), hair: rgb(0x2a2523), shirt: rgb(0xe2b04a), apron: rgb(0x4b6b4a), cheek: rgb(0x8f5a41)},
}

// newLesson works out what happens in clip i and paints its background.
func newLesson(s *Scene, i, who int) *lesson {
	clip := &s.Clips[i]
	l := &lesson{clip: clip, look: looks[who]}
	for k := range s.Sounds {
		l.mic = l.mic || s.pair(i, k).Together()
	}
	end := clip.Clock.World(clip.Length)
	for _, u := range s.Talk {
		switch {
		case u.End() < clip.Clock.Start || u.At > end:
		case u.Clap:
			l.claps = append(l.claps, u.Onset())
		default:
			l.talk = append(l.talk, u)
		}
	}
	for at := clip.Clock.Start - 1.2; at < end; at += 5.7 {
		if l.clapNear(at, 1.3) {
			at += 1.9
		}
		l.pushes = append(l.pushes, at)
	}
	l.still = make([]byte, lessonWidth*lessonHeight*3/2)
	paintWorkshop(onto(l.still, lessonWidth, lessonHeight))
	return l
}

// clapNear says whether hands meet within reach seconds of world time w.
func (l *lesson) clapNear(w, reach float64) bool {
	for _, c := range l.claps {
		if math.Abs(c-w) < reach {
			return true
		}
	}
	return false
}

// draw paints frame n.
func (l *lesson) draw(n int, picture []byte) {
	copy(picture, l.still)
	c := onto(picture, lessonWidth, lessonHeight)
	w := l.clip.Clock.World(float64(n) / 25)
	l.spokes(c, w)
	l.person(c, w)
	l.strip(c, n)
}

// voice returns how loud somebody speaks around world time w, 0 to 1, over
// the given span of seconds.
func (l *lesson) voice(w, span float64) float64 {
	for i := range l.talk {
		u := &l.talk[i]
		step := u.Excerpt.Rate * u.speed()
		from, to := int((w-u.At-span/2)*step), int((w-u.At+span/2)*step)
		from, to = max(0, from), min(len(u.Excerpt.Samples), to)
		if from < to {
			return min(1, rms(u.Excerpt.Samples[from:to])/(1.7*SpeechLevel))
		}
	}
	return 0
}

// The wheel.
const wheelX, wheelY, wheelR = 348.0, 134.0, 62.0

// angle returns how far the wheel has turned: each push adds speed that dies
// away over four seconds.
func (l *lesson) angle(w float64) float64 {
	turned := 0.0
	for _, p := range l.pushes {
		if since := w - p - 0.25; since > 0 {
			turned += 13 * (1 - math.Exp(-since/4))
		}
	}
	return turned
}

// spokes paints what turns: spokes laced in pairs, hub, valve and reflector.
func (l *lesson) spokes(c canvas, w float64) {
	turn := l.angle(w)
	steel, hub := rgb(0x9a9ea3), rgb(0x858b92)
	for i := range 18 {
		a := turn + 2*math.Pi*float64(i)/18
		lean := 0.55
		if i%2 == 0 {
			lean = -lean
		}
		s, k := math.Sincos(a)
		hs, hk := math.Sincos(a + lean)
		c.fill(stroke(wheelX+7*hk, wheelY+7*hs, wheelX+(wheelR-4)*k, wheelY+(wheelR-4)*s, 0.65, 0.5), steel, 0.95)
	}
	s, k := math.Sincos(turn + 0.17)
	c.fill(stroke(wheelX+(wheelR-4)*k, wheelY+(wheelR-4)*s, wheelX+(wheelR-15)*k, wheelY+(wheelR-15)*s, 1.6, 1), rgb(0x3a3a3c), 1)
	s, k = math.Sincos(turn + 2.3)
	c.fill(disc(wheelX+36*k, wheelY+36*s, 6), rgb(0xf08a24), 1)
	c.fill(disc(wheelX+36*k, wheelY+36*s, 3), rgb(0xffc46b), 1)
	c.fill(disc(wheelX, wheelY, 9), hub, 1)
	c.fill(disc(wheelX, wheelY, 3.5), rgb(0x4b4f54), 1)
}

// strip paints the clip's time along the bottom: a bar that fills, seconds
// and frames, and a hand that goes round once a second.
func (l *lesson) strip(c canvas, n int) {
	light, warm := rgb(0xf4ead6), rgb(0xf0a03c)
	c.digits(fmt.Sprintf("%02d:%02d", n/25, n%25), 12, 255, 2, light)
	done := float64(n) / max(1, l.clip.Length*25-1)
	c.fill(box(66, 257.5, 66+370*min(1, done)+5, 262.5, 2.5), warm, 1)
	s, k := math.Sincos(2*math.Pi*float64(n%25)/25 - math.Pi/2)
	c.fill(disc(460, 260, 7.5), light, 1)
	c.fill(stroke(460, 260, 460+5.5*k, 260+5.5*s, 1.2, 1), rgb(0x2b2a33), 1)
}
