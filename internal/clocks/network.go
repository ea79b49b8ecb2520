package clocks

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"

	"earshot/internal/align"
)

// A group is recordings that hang together by links.
type group struct {
	recs  []int // the first is the one whose clock is the common one
	links []int
}

// groups parts n recordings by the links that are not left out.
func groups(n int, links []Link, out []bool) []group {
	root := make([]int, n)
	for i := range root {
		root[i] = i
	}
	find := func(i int) int {
		for root[i] != i {
			root[i] = root[root[i]]
			i = root[i]
		}
		return i
	}
	for k := range links {
		if !out[k] {
			a, b := find(links[k].A), find(links[k].B)
			root[max(a, b)] = min(a, b)
		}
	}
	place := map[int]int{}
	var all []group
	for i := range n {
		r := find(i)
		if _, ok := place[r]; !ok {
			place[r] = len(all)
			all = append(all, group{})
		}
		g := &all[place[r]]
		g.recs = append(g.recs, i)
	}
	for k := range links {
		if !out[k] {
			g := &all[place[find(links[k].A)]]
			g.links = append(g.links, k)
		}
	}
	return all
}

// ppm is the unit in which rates are solved for: with it the unknowns are of
// like size.
const ppm = 1e-6

// A row is one equation over its own deviation: Σ coefficient·unknown = right.
type row struct {
	at    [8]int
	by    [8]float64
	n     int
	right float64
	sigma float64
}

func (r *row) add(at int, by float64) {
	if at < 0 || by == 0 {
		return
	}
	for i := range r.n {
		if r.at[i] == at {
			r.by[i] += by
			return
		}
	}
	r.at[r.n], r.by[r.n] = at, by
	r.n++
}

func (r *row) dot(x []float64) (v float64) {
	for i := range r.n {
		v += r.by[i] * x[r.at[i]]
	}
	return v
}

// A network is the equations of one group. Unknowns are corrections to a first
// guess that runs along the strongest links, so that what is solved for is
// small wherever links agree. For recording slot s they stand at start(s),
// wander(s); for device v at rate(v); -1 = known.
type network struct {
	recs    []Recording
	links   []Link // of the group
	ends    [][2]int
	devices []int // by slot
	guess   []float64
	first   []row // of every link: the time at Mid
	second  []row // of every link: the drift; n = 0 when it cannot tell
	prior   []row
	x       []float64
	inverse mat.Cholesky // of the normal equations, in units
	unit    []float64    // what each unknown is counted in
	size    int
	solved  bool
}

func (n *network) start(slot int) int  { return slot - 1 }
func (n *network) wander(slot int) int { return len(n.recs) - 1 + slot }
func (n *network) rate(device int) int {
	if device == 0 {
		return -1
	}
	return 2*len(n.recs) - 1 + device - 1
}

// newNetwork writes the equations down; paths is added to what a link's time
// is good for, seconds.
func newNetwork(recs []Recording, links []Link, g group, paths float64) *network {
	n := &network{}
	slot, device := map[int]int{}, map[string]int{}
	for s, r := range g.recs {
		slot[r] = s
		n.recs = append(n.recs, recs[r])
		if _, ok := device[recs[r].Device]; !ok {
			device[recs[r].Device] = len(device)
		}
		n.devices = append(n.devices, device[recs[r].Device])
	}
	for _, k := range g.links {
		n.links = append(n.links, links[k])
		n.ends = append(n.ends, [2]int{slot[links[k].A], slot[links[k].B]})
	}
	n.size = 2*len(n.recs) - 1 + len(device) - 1
	n.lay()
	for i := range n.links {
		n.write(i, paths)
	}
	for s := range n.recs {
		r := row{sigma: Wander}
		r.add(n.wander(s), ppm/Wander)
		n.prior = append(n.prior, r)
	}
	for v := 1; v < len(device); v++ {
		r := row{sigma: Rates}
		r.add(n.rate(v), ppm/Rates)
		n.prior = append(n.prior, r)
	}
	return n
}

// lay makes the first guess of all starts, along the strongest links.
func (n *network) lay() {
	n.guess = make([]float64, len(n.recs))
	order := make([]int, len(n.links))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return n.links[order[a]].Strength > n.links[order[b]].Strength })
	known := make([]bool, len(n.recs))
	known[0] = true
	for grown := true; grown; {
		grown = false
		for _, i := range order {
			a, b := n.ends[i][0], n.ends[i][1]
			if known[a] == known[b] {
				continue
			}
			l := &n.links[i]
			between := l.Sound(l.Mid) - l.Mid // start[a] - start[b], rates alike
			if known[a] {
				n.guess[b] = n.guess[a] - between
			} else {
				n.guess[a] = n.guess[b] + between
			}
			known[a], known[b], grown = true, true, true
			break
		}
	}
}

// write writes a link's two equations.
func (n *network) write(i int, paths float64) {
	l := &n.links[i]
	a, b := n.ends[i][0], n.ends[i][1]
	s := l.Sound(l.Mid)
	bend := Wander * math.Max(n.recs[a].Length, n.recs[b].Length) / bendOf
	sigma := math.Hypot(math.Hypot(l.MidSigma, bend), paths)
	time := row{sigma: sigma, right: (s - l.Mid - (n.guess[a] - n.guess[b])) / sigma}
	time.add(n.start(a), 1/sigma)
	time.add(n.start(b), -1/sigma)
	n.addRate(&time, a, l.Mid/sigma)
	n.addRate(&time, b, -s/sigma)
	n.first = append(n.first, time)
	var drift row
	if !math.IsInf(l.DriftSigma, 1) {
		drift = row{sigma: l.DriftSigma, right: l.Drift / l.DriftSigma}
		n.addRate(&drift, a, 1/l.DriftSigma)
		n.addRate(&drift, b, -(1+l.Drift)/l.DriftSigma)
	}
	n.second = append(n.second, drift)
}

// bendOf is for clocks whose rate wanders within a recording: a rate that goes
// evenly from -w to +w over a length L bends the line by w·L/13 RMS about the
// straight one.
const bendOf = 13

func (n *network) addRate(r *row, slot int, by float64) {
	r.add(n.rate(n.devices[slot]), by*ppm)
	r.add(n.wander(slot), by*ppm)
}

// rows calls fn for every equation.
func (n *network) rows(fn func(*row)) {
	for i := range n.first {
		fn(&n.first[i])
		if n.second[i].n > 0 {
			fn(&n.second[i])
		}
	}
	for i := range n.prior {
		fn(&n.prior[i])
	}
}

// solve solves the normal equations. Starts are known to less than a
// microsecond, rates maybe to no more than beforehand, so that each unknown is
// counted in what its own equations tell it to: that is near the best scaling
// there is (A. van der Sluis 1969, "Condition numbers and equilibration of
// matrices").
func (n *network) solve() {
	normal := mat.NewSymDense(n.size, nil)
	right := mat.NewVecDense(n.size, nil)
	n.rows(func(r *row) {
		for i := range r.n {
			right.SetVec(r.at[i], right.AtVec(r.at[i])+r.by[i]*r.right)
			for j := range r.n {
				if r.at[j] >= r.at[i] {
					normal.SetSym(r.at[i], r.at[j], normal.At(r.at[i], r.at[j])+r.by[i]*r.by[j])
				}
			}
		}
	})
	n.x, n.unit = make([]float64, n.size), make([]float64, n.size)
	for i := range n.unit {
		n.unit[i] = 1 / math.Sqrt(normal.At(i, i))
	}
	for i := range n.unit {
		right.SetVec(i, right.AtVec(i)*n.unit[i])
		for j := i; j < n.size; j++ {
			normal.SetSym(i, j, normal.At(i, j)*n.unit[i]*n.unit[j])
		}
	}
	if n.solved = n.inverse.Factorize(normal); !n.solved {
		return
	}
	var x mat.VecDense
	if err := n.inverse.SolveVecTo(&x, right); err != nil { // ill-conditioned: no answer is better than a rough one
		n.solved = false
		return
	}
	for i := range n.x {
		n.x[i] = x.AtVec(i) * n.unit[i]
	}
}

// variance is that of Σ coefficient·unknown of a row. Of an equation over its
// own deviation it is the share of that equation in its own answer, 0..1: at 1
// nothing else speaks of it.
func (n *network) variance(r *row) float64 {
	if !n.solved {
		return 1
	}
	g := mat.NewVecDense(n.size, nil)
	for i := range r.n {
		g.SetVec(r.at[i], r.by[i]*n.unit[r.at[i]])
	}
	var v mat.VecDense
	if n.inverse.SolveVecTo(&v, g) != nil {
		return 1
	}
	return mat.Dot(g, &v)
}

// free is what leverage leaves at the least where other links tie the same
// recordings.
const free = 1e-6

// snooped is how large link i's time residual is over its own deviation, and
// whether others tie it at all.
func (n *network) snooped(i int) (sigmas float64, tied bool) {
	r := &n.first[i]
	own := 1 - n.variance(r)
	if own < free || !n.solved {
		return 0, false
	}
	return math.Abs(r.dot(n.x)-r.right) / math.Sqrt(own), true
}

// left is the residual of link i's time, seconds: B's time by all together
// less what the link says.
func (n *network) left(i int) float64 {
	r := &n.first[i]
	return (r.dot(n.x) - r.right) * r.sigma
}

// others is the same by all other links: what left would be were the link not
// there.
func (n *network) others(i int) float64 {
	return n.left(i) / math.Max(free, 1-n.variance(&n.first[i]))
}

func (n *network) squares() (sum float64) {
	n.rows(func(r *row) {
		v := r.dot(n.x) - r.right
		sum += v * v
	})
	return sum
}

func (n *network) freedom() int {
	rows := 0
	n.rows(func(*row) { rows++ })
	return rows - n.size
}

// A Place is where one recording lies in another by all links together.
type Place struct {
	align.Alignment
	sigmaAt func(t float64) float64
}

// SigmaAt is the deviation of B's time for A's time t, seconds.
func (p *Place) SigmaAt(t float64) float64 { return p.sigmaAt(t) }

// DriftSigma is the deviation of the drift, seconds per second.
func (p *Place) DriftSigma() float64 {
	const far = 1e7 // seconds: there the drift is all that counts
	return p.sigmaAt(far) / far
}

// Between returns where recording a lies in b, false when nothing ties them.
func (d *Day) Between(a, b int) (Place, bool) {
	if d.part[a] != d.part[b] {
		return Place{}, false
	}
	n, i, k := d.parts[d.part[a]], d.slot[a], d.slot[b]
	if !n.solved {
		return Place{}, false
	}
	startA, qa := n.own(i)
	startB, qb := n.own(k)
	p := Place{Alignment: align.Alignment{Offset: (startA - startB) / (1 + qb), Drift: (1+qa)/(1+qb) - 1}}
	p.sigmaAt = func(t float64) float64 {
		var r row
		s := p.Sound(t)
		r.add(n.start(i), 1)
		r.add(n.start(k), -1)
		n.addRate(&r, i, t)
		n.addRate(&r, k, -s)
		return math.Sqrt(math.Max(0, n.variance(&r)))
	}
	return p, true
}

// own is a recording's start on the common clock, seconds, and how much longer
// than its own a second of it is.
func (n *network) own(slot int) (start, q float64) {
	at := func(i int) float64 {
		if i < 0 {
			return 0
		}
		return n.x[i]
	}
	return n.guess[slot] + at(n.start(slot)), (at(n.rate(n.devices[slot])) + at(n.wander(slot))) * ppm
}
