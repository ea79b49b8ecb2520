package scene

import "math"

// paintWorkshop paints everything that never moves: wall, window, tools, the
// bench, the wheel's stand, tyre and rim, and the strip's ground.
func paintWorkshop(c canvas) {
	c.fill(box(0, 0, lessonWidth, lessonHeight, 0), rgb(0xf0dfc2), 1)
	for i := range 12 { // light from the window
		c.fill(oval(70, 70, 420-float64(i)*30, 300-float64(i)*22), rgb(0xfff6df), 0.09)
	}
	paintWindow(c)
	paintTools(c)
	paintShelf(c)
	paintBench(c)
	paintStand(c)
	c.fill(box(0, 250, lessonWidth, lessonHeight, 0), rgb(0x2b2a33), 1)
	c.fill(box(66, 257.5, 441, 262.5, 2.5), rgb(0x4a4955), 1)
}

func paintWindow(c canvas) {
	frame, sky := rgb(0x8a6a4c), rgb(0xa9d4e8)
	c.fill(box(18, 22, 106, 122, 4), frame, 1)
	c.fill(box(23, 27, 101, 117, 2), sky, 1)
	cloud := rgb(0xf7fbfd)
	for _, p := range [][3]float64{{44, 55, 8}, {54, 50, 10}, {65, 55, 8}} {
		c.fill(above(disc(p[0], p[1], p[2]), 58), cloud, 1)
	}
	hill := rgb(0x8fb573)
	c.fill(above(box(23, 96, 101, 117, 2), 117), hill, 1)
	c.fill(above(oval(50, 100, 26, 12), 104), hill, 1)
	c.fill(above(oval(86, 100, 15, 9), 104), rgb(0x7ca465), 1)
	c.fill(box(60.5, 24, 63.5, 120, 0), frame, 1)
	c.fill(box(21, 70.5, 103, 73.5, 0), frame, 1)
	c.fill(box(13, 120, 111, 127, 2), rgb(0x9c7a58), 1)
}

// paintTools hangs a board with tools behind the wheel.
func paintTools(c canvas) {
	c.fill(box(236, 20, 462, 96, 5), rgb(0xd6b98f), 1)
	hole := rgb(0xb99a70)
	for x := 246.0; x < 456; x += 12 {
		for y := 30.0; y < 92; y += 12 {
			c.fill(disc(x, y, 1), hole, 1)
		}
	}
	steel, wood, red := rgb(0x6d747b), rgb(0x9a5f35), rgb(0xc24a3a)
	// a spanner
	c.fill(stroke(258, 38, 258, 78, 3, 3), steel, 1)
	c.fill(disc(258, 34, 7), steel, 1)
	c.fill(box(255.5, 24, 260.5, 34, 0), rgb(0xd6b98f), 1)
	c.fill(ring(258, 82, 4.5, 4), steel, 1)
	// a screwdriver
	c.fill(stroke(282, 32, 282, 50, 4.5, 5), red, 1)
	c.fill(stroke(282, 54, 282, 82, 1.6, 1.6), steel, 1)
	// a hammer
	c.fill(stroke(306, 40, 306, 84, 2.6, 3), wood, 1)
	c.fill(box(294, 30, 318, 41, 3), steel, 1)
	// spare rings: chainring and two sprockets
	for _, p := range [][2]float64{{416, 16}, {446, 10}} {
		teeth(c, p[0], 46, p[1], steel)
	}
	c.fill(ring(440, 76, 7, 3), rgb(0x3a3a3c), 1)
}

// teeth paints a toothed ring.
func teeth(c canvas, x, y, r float64, p paint) {
	n := int(r * 1.3)
	for i := range n {
		s, k := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		c.fill(disc(x+(r+1)*k, y+(r+1)*s, 1.8), p, 1)
	}
	c.fill(ring(x, y, r-2, 4), p, 1)
	c.fill(ring(x, y, r*0.35, 2.5), p, 1)
	for i := range 5 {
		s, k := math.Sincos(2 * math.Pi * float64(i) / 5)
		c.fill(stroke(x+r*0.4*k, y+r*0.4*s, x+(r-3)*k, y+(r-3)*s, 1.5, 1.5), p, 1)
	}
}

// paintShelf puts a plant and a few tins on the bench's left.
func paintShelf(c canvas) {
	c.fill(box(14, 168, 100, 173, 1), rgb(0x8a6a4c), 1)
	leaf := rgb(0x5c8a4f)
	for i := range 5 {
		s, k := math.Sincos(-math.Pi/2 + 0.45*float64(i-2))
		c.fill(stroke(36, 152, 36+24*k, 152+24*s, 4, 1.5), leaf, 1)
	}
	c.fill(hull([2]float64{26, 150}, [2]float64{46, 150}, [2]float64{43, 168}, [2]float64{29, 168}), rgb(0xc8744a), 1)
	c.fill(box(58, 148, 74, 168, 2), rgb(0x4f7f8f), 1)
	c.fill(box(58, 153, 74, 160, 0), rgb(0xeadfc8), 1)
	c.fill(box(78, 154, 92, 168, 2), rgb(0xd9a441), 1)
}

func paintBench(c canvas) {
	c.fill(box(0, benchTop, lessonWidth, 252, 0), rgb(0xa9764a), 1)
	c.fill(box(0, benchTop, lessonWidth, benchTop+7, 0), rgb(0xc28d5b), 1)
	grain := rgb(0x93643d)
	for i := range 9 {
		y := 219.0 + 3.6*float64(i)
		x := float64(i * 137 % 300)
		c.fill(stroke(x, y, x+90+float64(i*53%80), y, 0.5, 0.4), grain, 0.8)
	}
	c.fill(box(405, 196, 455, benchTop, 2), rgb(0xc24a3a), 1) // a tool box
	c.fill(box(422, 190, 438, 197, 2), rgb(0x8f332a), 1)
	c.fill(box(427, 201, 433, 204, 1), rgb(0xf1d58a), 1)
}

// paintStand paints the truing stand and the parts of the wheel that look the
// same however it is turned.
func paintStand(c canvas) {
	blue := rgb(0x45647d)
	c.fill(box(306, 200, 390, benchTop, 2), blue, 1)
	c.fill(stroke(318, 202, wheelX-3, wheelY, 4, 3), blue, 1)
	c.fill(stroke(378, 202, wheelX+3, wheelY, 4, 3), blue, 1)
	c.fill(ring(wheelX, wheelY, wheelR+1, 8), rgb(0x37343a), 1)
	c.fill(ring(wheelX, wheelY, wheelR-4.5, 4), rgb(0xc9ced3), 1)
	c.fill(ring(wheelX, wheelY, wheelR+3, 1), rgb(0x5a565e), 1)
}
