package align

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// When a clock counts as bent, and how closely its lines follow it.
const (
	mostOrder  = 7     // of the polynomial
	chordOff   = 15e-6 // seconds that a line may lie from the bend
	leastBent  = 60e-6 // seconds: less off a straight line is left alone
	surelyBent = 12.0  // by so much Schwarz's criterion must fall
	fineLocal  = 4e-6  // seconds: no local offset is better
	shortPiece = 5.0   // seconds, of a line
	mostPieces = 64
	fewLocals  = 12
)

// A local lag of one window, for fitting.
type lagPoint struct {
	x, lag, weight float64 // x from -1 to 1 along the take; seconds
	trail          int
}

// points are the lags of the windows that hear the match, to a fraction of a
// point.
func (g *guide) points(trails []trail) (out []lagPoint) {
	for j, r := range trails {
		for i := range r.marks {
			k := &r.marks[i]
			at := len(k.m)/2 + k.lag
			h := k.height(k.lag)
			if h < plain || at < 2 || at > len(k.m)-3 {
				continue
			}
			for at > 2 && k.m[at-1] > k.m[at] {
				at--
			}
			for at < len(k.m)-3 && k.m[at+1] > k.m[at] {
				at++
			}
			lag := float64(at-len(k.m)/2) + vertex(float64(k.m[at-1]), float64(k.m[at]), float64(k.m[at+1]))
			out = append(out, lagPoint{x: g.along(k.at), lag: lag * lagStep, weight: math.Min(h, 30) / 30, trail: j})
		}
	}
	return out
}

// along puts a clip time on -1 to 1.
func (g *guide) along(t float64) float64 { return 2*(t-g.from)/(g.to-g.from) - 1 }

// A curve is how the lag goes along the take: for every trail a constant, and
// for all together Legendre polynomials from the first order on.
type curve struct {
	base  []float64 // one for each trail
	order []float64 // coefficients of P1, P2 and so on
}

func (c *curve) at(trail int, x float64) float64 {
	v := c.base[trail]
	for i, p := range legendre(x, len(c.order)) {
		v += c.order[i] * p
	}
	return v
}

// legendre returns P1(x) to Pn(x) by Bonnet's recursion.
func legendre(x float64, n int) []float64 {
	p := make([]float64, n)
	last, now := 1.0, x
	for i := range p {
		p[i] = now
		k := float64(i + 1)
		last, now = now, ((2*k+1)*x*now-k*last)/(k+1)
	}
	return p
}

// fit lays a curve with polynomials up to order n through the points by
// weighted least squares, and again without those that lie far off; it returns
// the weighted mean of the squares left. nil when the points do not tell.
func fit(points []lagPoint, trails, n int) (*curve, float64) {
	weights := make([]float64, len(points))
	for i, p := range points {
		weights[i] = p.weight
	}
	var c *curve
	left := 0.0
	for range 4 {
		if c = solve(points, weights, trails, n); c == nil {
			return nil, 0
		}
		off := make([]float64, len(points))
		for i, p := range points {
			off[i] = (p.lag - c.at(p.trail, p.x)) * p.weight
		}
		sigma := math.Max(deviation(off), fineLocal)
		left = 0
		for i, p := range points { // Huber's weights, from two deviations on
			share := math.Min(1, 2*sigma/math.Max(math.Abs(off[i]), 1e-12))
			weights[i] = p.weight * math.Sqrt(share)
			left += share * off[i] * off[i] / float64(len(points))
		}
	}
	return c, math.Max(left, fineLocal*fineLocal)
}

func solve(points []lagPoint, weights []float64, trails, n int) *curve {
	cols := trails + n
	if len(points) < 2*cols {
		return nil
	}
	a := mat.NewDense(len(points), cols, nil)
	b := mat.NewVecDense(len(points), nil)
	for i, p := range points {
		a.Set(i, p.trail, weights[i])
		for k, v := range legendre(p.x, n) {
			a.Set(i, trails+k, v*weights[i])
		}
		b.SetVec(i, p.lag*weights[i])
	}
	var qr mat.QR
	qr.Factorize(a)
	var x mat.VecDense
	if err := qr.SolveVecTo(&x, false, b); err != nil {
		return nil
	}
	c := &curve{make([]float64, trails), make([]float64, n)}
	for i := range cols {
		if i < trails {
			c.base[i] = x.AtVec(i)
		} else {
			c.order[i-trails] = x.AtVec(i)
		}
	}
	return c
}

// bent chooses the curve: straight, unless a bend lowers Schwarz's criterion
// plainly (G. Schwarz 1978, "Estimating the dimension of a model") and shows.
// Neighbouring windows share half their sound, so that half of them count.
func bent(points []lagPoint, trails int) *curve {
	straight, left := fit(points, trails, 1)
	if straight == nil || len(points) < fewLocals {
		return straight
	}
	n := float64(len(points)) / 2
	criterion := func(left float64, order int) float64 {
		return n*math.Log(left) + float64(trails+order)*math.Log(n)
	}
	best, least := straight, criterion(left, 1)-surelyBent
	for order := 2; order <= mostOrder; order++ {
		c, left := fit(points, trails, order)
		if c == nil {
			break
		}
		if v := criterion(left, order); v < least && c.off(straight, points) > leastBent {
			best, least = c, v
		}
	}
	return best
}

// off is how far two curves lie from each other at most, at the points.
func (c *curve) off(d *curve, points []lagPoint) (most float64) {
	for _, p := range points {
		most = math.Max(most, math.Abs(c.at(p.trail, p.x)-d.at(p.trail, p.x)))
	}
	return most
}

// lines turns trails with the cuts between them into spans.
func (g *guide) lines(trails []trail, cuts []cut) []Span {
	points := g.points(trails)
	c := bent(points, len(trails))
	if c == nil { // too few windows to tell a drift: the lags themselves
		c = &curve{base: make([]float64, len(trails))}
		for j, r := range trails {
			c.base[j] = float64(r.best().lag) * lagStep
		}
	}
	var out []Span
	for j := range trails {
		from, to, lost := g.stretch(cuts, j)
		n := c.pieces(g, from, to)
		for i := range n {
			a, b := from+(to-from)*float64(i)/float64(n), from+(to-from)*float64(i+1)/float64(n)
			la, lb := c.at(j, g.along(a)), c.at(j, g.along(b))
			slope := (lb - la) / (b - a)
			s := Span{From: a, To: b, Mid: (from + to) / 2, Lost: lost}
			s.Alignment = Alignment{g.line.Offset + la - slope*a, g.line.Drift + slope}
			out, lost = append(out, s), 0
		}
	}
	return out
}

// pieces is how many lines follow the curve from one clip time to another.
func (c *curve) pieces(g *guide, from, to float64) int {
	if len(c.order) < 2 {
		return 1
	}
	const grain = 64
	h, most := (to-from)/grain, 0.0
	for i := 1; i < grain; i++ {
		t := from + float64(i)*h
		second := c.at(0, g.along(t-h)) - 2*c.at(0, g.along(t)) + c.at(0, g.along(t+h))
		most = math.Max(most, math.Abs(second)/(h*h))
	}
	n := math.Ceil((to - from) * math.Sqrt(most/8/chordOff))
	return int(math.Max(1, math.Min(n, math.Min(mostPieces, (to-from)/shortPiece))))
}

// best is the window of a trail that stands highest.
func (r trail) best() *mark {
	best := r.first()
	for i := range r.marks {
		if k := &r.marks[i]; k.height(k.lag) > best.height(best.lag) {
			best = k
		}
	}
	return best
}
