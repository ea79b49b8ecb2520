package scene

import "math"

// A canvas is a picture in planar YUV 4:2:0 that smooth-edged shapes are
// painted on. Coordinates are pixels, the centre of the first at (½,½).
type canvas struct {
	w, h    int
	y, u, v []byte
}

// onto makes a canvas of a frame's bytes.
func onto(picture []byte, w, h int) canvas {
	n := w * h
	return canvas{w: w, h: h, y: picture[:n], u: picture[n : n+n/4], v: picture[n+n/4 : n+n/2]}
}

// A paint is a colour as the canvas holds it.
type paint struct{ y, u, v float64 }

// rgb gives a paint by its hex colour, after ITU-R BT.601, limited range.
func rgb(hex int) paint {
	r, g, b := float64(hex>>16&255), float64(hex>>8&255), float64(hex&255)
	return paint{
		y: 16 + (65.481*r+128.553*g+24.966*b)/255,
		u: 128 + (-37.797*r-74.203*g+112*b)/255,
		v: 128 + (112*r-93.786*g-18.214*b)/255,
	}
}

// A shape knows how far a point lies outside its edge (negative inside), and
// the box it fits in.
type shape struct {
	away           func(x, y float64) float64
	x0, y0, x1, y1 float64
}

// fill paints a shape; opacity from 0 to 1.
func (c *canvas) fill(s shape, p paint, opacity float64) {
	c.plane(c.y, 1, s, p.y, opacity)
	c.plane(c.u, 2, s, p.u, opacity)
	c.plane(c.v, 2, s, p.v, opacity)
}

// plane paints one plane, whose pixels are step canvas pixels wide.
func (c *canvas) plane(to []byte, step int, s shape, value, opacity float64) {
	w, h, size := c.w/step, c.h/step, float64(step)
	x0, x1 := max(0, int(s.x0/size)-1), min(w-1, int(s.x1/size)+1)
	y0, y1 := max(0, int(s.y0/size)-1), min(h-1, int(s.y1/size)+1)
	for j := y0; j <= y1; j++ {
		row := to[j*w : j*w+w]
		for i := x0; i <= x1; i++ {
			cover := 0.5 - s.away((float64(i)+0.5)*size, (float64(j)+0.5)*size)/size
			if cover <= 0 {
				continue
			}
			cover = min(1, cover) * opacity
			row[i] = byte(float64(row[i])*(1-cover) + value*cover + 0.5)
		}
	}
}

// length is math.Hypot without its care for numbers no picture has.
func length(x, y float64) float64 { return math.Sqrt(x*x + y*y) }

// disc is a filled circle.
func disc(x, y, r float64) shape {
	return shape{func(px, py float64) float64 { return length(px-x, py-y) - r }, x - r, y - r, x + r, y + r}
}

// ring is a circle's line of the given width.
func ring(x, y, r, width float64) shape {
	o := r + width/2
	return shape{func(px, py float64) float64 { return math.Abs(length(px-x, py-y)-r) - width/2 }, x - o, y - o, x + o, y + o}
}

// oval is an ellipse along the axes; its edge softens a little where it is
// flat.
func oval(x, y, rx, ry float64) shape {
	return shape{func(px, py float64) float64 {
		return (length((px-x)/rx, (py-y)/ry) - 1) * min(rx, ry)
	}, x - rx, y - ry, x + rx, y + ry}
}

// stroke is a line with round ends that may grow from radius ra to rb.
func stroke(ax, ay, bx, by, ra, rb float64) shape {
	dx, dy := bx-ax, by-ay
	square := dx*dx + dy*dy + 1e-9
	r := max(ra, rb)
	return shape{func(px, py float64) float64 {
		t := max(0, min(1, ((px-ax)*dx+(py-ay)*dy)/square))
		return length(px-ax-t*dx, py-ay-t*dy) - ra - t*(rb-ra)
	}, min(ax, bx) - r, min(ay, by) - r, max(ax, bx) + r, max(ay, by) + r}
}

// box is a rectangle with corners of radius r.
func box(x0, y0, x1, y1, r float64) shape {
	cx, cy, hx, hy := (x0+x1)/2, (y0+y1)/2, (x1-x0)/2-r, (y1-y0)/2-r
	return shape{func(px, py float64) float64 {
		qx, qy := math.Abs(px-cx)-hx, math.Abs(py-cy)-hy
		return length(max(qx, 0), max(qy, 0)) + min(max(qx, qy), 0) - r
	}, x0, y0, x1, y1}
}

// hull is a convex polygon, corners clockwise as seen on the screen.
func hull(points ...[2]float64) shape {
	s := shape{x0: math.Inf(1), y0: math.Inf(1), x1: math.Inf(-1), y1: math.Inf(-1)}
	for _, p := range points {
		s.x0, s.x1 = min(s.x0, p[0]), max(s.x1, p[0])
		s.y0, s.y1 = min(s.y0, p[1]), max(s.y1, p[1])
	}
	s.away = func(px, py float64) float64 {
		most := math.Inf(-1)
		for i, a := range points {
			b := points[(i+1)%len(points)]
			dx, dy := b[0]-a[0], b[1]-a[1]
			most = max(most, ((px-a[0])*dy-(py-a[1])*dx)/length(dx, dy))
		}
		return most
	}
	return s
}

// above cuts s off below the line y.
func above(s shape, y float64) shape {
	away := s.away
	s.away = func(px, py float64) float64 { return max(away(px, py), py-y) }
	s.y1 = min(s.y1, y)
	return s
}

// glyphs are digits and a colon, three wide and five high, rows from the top,
// the left column as the highest bit.
var glyphs = [11][5]byte{
	{7, 5, 5, 5, 7}, {2, 6, 2, 2, 7}, {7, 1, 7, 4, 7}, {7, 1, 7, 1, 7}, {5, 5, 7, 1, 1},
	{7, 4, 7, 1, 7}, {7, 4, 7, 5, 7}, {7, 1, 1, 2, 2}, {7, 5, 7, 5, 7}, {7, 5, 7, 1, 7}, {0, 2, 0, 2, 0},
}

// digits writes text of 0-9 and : with dots of the given size.
func (c *canvas) digits(text string, x, y, dot float64, p paint) {
	for _, r := range text {
		n := 10
		if r != ':' {
			n = int(r - '0')
		}
		for row, bits := range glyphs[n] {
			for col := range 3 {
				if bits>>(2-col)&1 != 0 {
					left, top := x+float64(col)*dot, y+float64(row)*dot
					c.fill(box(left, top, left+dot, top+dot, 0), p, 1)
				}
			}
		}
		x += 4 * dot
	}
}
