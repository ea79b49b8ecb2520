package scene

import "math"

// Where somebody stands.
const (
	bodyX    = 168.0
	benchTop = 206.0
	meetY    = 158.0 // where hands meet
	palm     = 7.5   // radius of a hand
)

// A point on the picture.
type point struct{ x, y float64 }

// mix goes from a to b as t goes from 0 to 1.
func (a point) mix(b point, t float64) point { return point{a.x + (b.x-a.x)*t, a.y + (b.y-a.y)*t} }

// ease is a smooth 0 to 1.
func ease(t float64) float64 {
	t = max(0, min(1, t))
	return t * t * (3 - 2*t)
}

// hands returns where both hands are at world time w, and whether they touch.
func (l *lesson) hands(w float64) (left, right point, touch bool) {
	talking := l.voice(w, 0.5)
	left = point{bodyX - 52, benchTop - 4}
	left.x += 5 * math.Sin(1.7*w)
	left.y -= 26 * talking * (0.6 + 0.4*math.Sin(2.9*w))
	right = point{bodyX + 50, benchTop - 5}
	for _, p := range l.pushes {
		right = pushing(right, w-p)
	}
	for _, c := range l.claps {
		if since := w - c; since > -0.75 && since < 0.6 {
			return clapping(left, right, since)
		}
	}
	return left, right, false
}

// pushing takes a hand from rest to the wheel's rim, along it and back.
func pushing(rest point, since float64) point {
	high, low := point{wheelX - wheelR - 4, wheelY - 14}, point{wheelX - wheelR - 2, wheelY + 24}
	switch {
	case since < -0.35 || since > 1:
		return rest
	case since < 0.1:
		return rest.mix(high, ease((since+0.35)/0.45))
	case since < 0.35:
		return high.mix(low, ease((since-0.1)/0.25))
	}
	return low.mix(rest, ease((since-0.35)/0.65))
}

// clapping takes both hands up, together at since = 0, and back to rest. They
// touch from that moment on for a tenth of a second and at no other time.
func clapping(left, right point, since float64) (l, r point, touch bool) {
	apart := func(gap float64) (point, point) {
		return point{bodyX - palm + 1.5 - gap, meetY}, point{bodyX + palm - 1.5 + gap, meetY}
	}
	wideL, wideR := apart(46)
	switch {
	case since < -0.24:
		t := ease((since + 0.75) / 0.5)
		return left.mix(wideL, t), right.mix(wideR, t), false
	case since < -1e-6:
		l, r = apart(46 * math.Pow(-since/0.24, 0.8))
		return l, r, false
	case since < 0.1:
		l, r = apart(0)
		return l, r, true
	}
	l, r = apart(0)
	t := ease((since - 0.1) / 0.5)
	return l.mix(left, t), r.mix(right, t), false
}

// person paints whoever gives the lesson.
func (l *lesson) person(c canvas, w float64) {
	talking := l.voice(w, 0.5)
	sway := 1.6*math.Sin(0.9*w) + 1.2*talking*math.Sin(3.1*w)
	nod := 1.5 * talking * math.Sin(5.3*w)
	left, right, touch := l.hands(w)

	// the body, cut off by the bench
	c.fill(above(box(bodyX-40, 122, bodyX+40, 240, 22), benchTop), l.look.shirt, 1)
	c.fill(above(box(bodyX-26, 146, bodyX+26, 250, 7), benchTop), l.look.apron, 1)
	c.fill(stroke(bodyX-20, 148, bodyX-16, 124, 2.4, 2.4), l.look.apron, 1)
	c.fill(stroke(bodyX+20, 148, bodyX+16, 124, 2.4, 2.4), l.look.apron, 1)
	if l.mic {
		c.fill(box(bodyX-6, 139, bodyX+1, 151, 2), rgb(0x24262b), 1)
		c.fill(disc(bodyX-2.5, 141.5, 1.1), rgb(0xd23b3b), 1)
	}
	c.fill(stroke(bodyX+sway/2, 126, bodyX+sway, 108, 9, 9), l.look.skin, 1)

	l.head(c, bodyX+sway, 88+nod, w)
	l.arm(c, point{bodyX - 35, 138}, left, -1)
	l.arm(c, point{bodyX + 35, 138}, right, 1)
	if touch {
		l.sparks(c)
	}
}

// arm paints an arm from shoulder to hand. The elbow hangs out and down as far
// as an arm of two 40-pixel parts must bend, a little less for being seen from
// the front.
func (l *lesson) arm(c canvas, shoulder, hand point, side float64) {
	const part = 40.0
	reach := length(hand.x-shoulder.x, hand.y-shoulder.y)
	bend := 0.4 * math.Sqrt(max(0, part*part-reach*reach/4))
	elbow := shoulder.mix(hand, 0.5)
	elbow.x, elbow.y = elbow.x+side*(bend+4), elbow.y+bend
	shade := l.look.shirt
	shade.y -= 14
	c.fill(stroke(shoulder.x, shoulder.y, elbow.x, elbow.y, 10, 8.5), shade, 1)
	c.fill(stroke(elbow.x, elbow.y, hand.x, hand.y, 8, 6), shade, 1)
	c.fill(disc(hand.x, hand.y, palm), l.look.skin, 1)
	c.fill(stroke(hand.x, hand.y, hand.x-3*side, hand.y-8, 2.8, 2.2), l.look.skin, 1)
}

// head paints the head with its top at about y-30.
func (l *lesson) head(c canvas, x, y, w float64) {
	if l.look.bun {
		c.fill(disc(x+2, y-36, 11), l.look.hair, 1)
		c.fill(oval(x, y-7, 31, 30), l.look.hair, 1)
	} else {
		c.fill(oval(x, y-10, 29, 26), l.look.hair, 1)
	}
	c.fill(disc(x-26, y+3, 5), l.look.skin, 1)
	c.fill(disc(x+26, y+3, 5), l.look.skin, 1)
	c.fill(oval(x, y+1, 26, 29), l.look.skin, 1)
	fringe := above(oval(x, y-8, 27, 24), y-13)
	c.fill(fringe, l.look.hair, 1)
	c.fill(disc(x-15, y+9, 5), l.look.cheek, 0.6)
	c.fill(disc(x+15, y+9, 5), l.look.cheek, 0.6)

	dark := rgb(0x2b2326)
	open := 1.0
	if math.Mod(w, 3.3) < 0.13 {
		open = 0.12
	}
	c.fill(oval(x-10, y-1, 2.7, 3.4*open), dark, 1)
	c.fill(oval(x+10, y-1, 2.7, 3.4*open), dark, 1)
	lift := 1.6 * l.voice(w, 0.3)
	for _, side := range [2]float64{-1, 1} {
		c.fill(stroke(x+6*side, y-9.2-lift, x+10.5*side, y-10.2-lift, 1.1, 1.1), l.look.hair, 1)
		c.fill(stroke(x+10.5*side, y-10.2-lift, x+14.5*side, y-8.6-lift, 1.1, 0.8), l.look.hair, 1)
	}
	shade := l.look.skin
	shade.y -= 18
	c.fill(stroke(x, y+1, x+1.5, y+6, 1.2, 1.6), shade, 1)
	mouth(c, x, y+15, l.voice(w, 0.04))
}

// mouth paints a smile that opens with the voice.
func mouth(c canvas, x, y, loud float64) {
	dark, tongue := rgb(0x6e2430), rgb(0xcf6a6a)
	if loud < 0.06 {
		smile := above(ring(x, y-8, 9.5, 2.2), y+4)
		away := smile.away
		smile.away = func(px, py float64) float64 { return max(away(px, py), y-1.5-py) }
		c.fill(smile, dark, 1)
		return
	}
	rx, ry := 6.5+1.5*loud, 1.4+6*loud
	c.fill(oval(x, y, rx, ry), dark, 1)
	if loud > 0.3 {
		c.fill(oval(x, y+ry*0.55, rx*0.55, ry*0.35), tongue, 1)
	}
}

// sparks paints short rays around hands that have just met.
func (l *lesson) sparks(c canvas) {
	for i := range 5 {
		s, k := math.Sincos(-math.Pi/2 + 0.5*float64(i-2))
		c.fill(stroke(bodyX+15*k, meetY-2+15*s, bodyX+22*k, meetY-2+22*s, 1.3, 0.8), rgb(0xfff3c4), 1)
	}
}
