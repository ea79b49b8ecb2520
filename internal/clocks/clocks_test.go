package clocks

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"

	"earshot/internal/align"
)

// A levelling network worked in C. D. Ghilani, Adjustment Computations,
// "Adjustment of differential leveling networks", weights by length of line:
// figures from memory, as are the answers. A height is a start, counted down:
// what a levelled line says of two heights, a link says of two starts.
func TestLevelling(t *testing.T) {
	const bmx, bmy, a, b, c = 0, 1, 2, 3, 4
	var links []Link
	level := func(from, to int, rise, miles float64) {
		links = append(links, Link{A: to, B: from, Alignment: align.Alignment{Offset: rise}, MidSigma: math.Sqrt(miles), DriftSigma: math.Inf(1), Strength: 1})
	}
	level(bmx, bmy, 7.50, 1e-8) // both benchmarks are known: 100.00 and 107.50
	level(bmx, a, 5.10, 4)
	level(a, bmy, 2.34, 3)
	level(bmy, c, -1.25, 2)
	level(c, bmx, -6.13, 3)
	level(a, b, -0.68, 2)
	level(bmy, b, -3.00, 2)
	level(b, c, 1.70, 2)
	recs := make([]Recording, 5)
	for i := range recs {
		recs[i].Device = "level"
	}
	d := Solve(recs, links)
	for _, tt := range []struct {
		at   int
		want float64
	}{{a, 105.150}, {b, 104.489}, {c, 106.197}} {
		p, ok := d.Between(tt.at, bmx)
		if got := 100 + p.Offset; !ok || math.Abs(got-tt.want) > 0.0006 {
			t.Errorf("height %d is %.4f, want %.3f", tt.at, got, tt.want)
		}
	}
	for k, check := range d.Checks {
		if check.Broken || check.Doubt {
			t.Errorf("link %d is called out", k)
		}
	}
}

// A shoot whose truth is known: cameras and recorders with clocks of their
// own, links read off it and moved by their stated deviations.
type made struct {
	recs         []Recording
	start, fast  []float64 // on the true clock; own seconds per true second
	bent         []float64 // how much faster at the end than in the middle
	links        []Link
	rng          *rand.Rand
	timeS, rateS float64
}

func (m *made) rec(device string, fast, start, length float64) int {
	m.recs = append(m.recs, Recording{device, length})
	m.start, m.fast = append(m.start, start), append(m.fast, fast)
	m.bent = append(m.bent, Wander*m.rng.NormFloat64())
	return len(m.recs) - 1
}

func (m *made) truth(a, b int) align.Alignment {
	return align.Alignment{Offset: (m.start[a] - m.start[b]) * m.fast[b], Drift: m.fast[b]/m.fast[a] - 1}
}

// heard is where b hears what a hears at t, the bend of b's clock and all.
func (m *made) heard(a, b int, t float64) float64 {
	l := m.recs[b].Length
	s := m.truth(a, b).Sound(t)
	return s + m.bent[b]*(s*s/l-s+l/6)
}

func (m *made) link(a, b int, tells bool) {
	l := Link{A: a, B: b, Alignment: m.truth(a, b), MidSigma: m.timeS, DriftSigma: math.Inf(1), Strength: 50}
	from, to := l.Covered(m.recs[a].Length, m.recs[b].Length)
	l.From, l.To, l.Mid = from, to, (from+to)/2
	turn := 0.0
	if tells {
		l.DriftSigma = m.rateS
		turn = m.rateS * m.rng.NormFloat64()
	}
	at := m.heard(a, b, l.Mid) + m.timeS*m.rng.NormFloat64()
	l.Drift += turn
	l.Offset = at - (1+l.Drift)*l.Mid
	m.links = append(m.links, l)
}

// twoCameras makes a morning: two cameras, two recorders that run through.
func twoCameras(seed uint64) *made {
	m := &made{rng: rand.New(rand.NewPCG(seed, 7)), timeS: 20e-6, rateS: 0.2e-6}
	rate := map[string]float64{}
	for _, d := range []string{"A", "B", "lav", "pocket"} {
		rate[d] = 50e-6 * m.rng.NormFloat64()
	}
	fast := func(d string) float64 { return 1 + rate[d] + Wander*m.rng.NormFloat64() }
	lav, pocket := m.rec("lav", fast("lav"), 0, 3600), m.rec("pocket", fast("pocket"), 20, 3700)
	for i := range 10 {
		at := 60 + 330*float64(i) + 20*m.rng.Float64()
		a, b := m.rec("A", fast("A"), at, 120), m.rec("B", fast("B"), at+3, 100)
		m.link(a, lav, true)
		m.link(b, lav, true)
		if i%2 == 0 {
			m.link(a, pocket, true)
		}
		if i%3 == 0 {
			m.link(a, b, i%2 == 0)
		}
	}
	return m
}

// On a good day nothing is called out, residuals are as large as their stated
// deviations say, and so are the errors of places that were not measured.
func TestSigmasAreTrue(t *testing.T) {
	var squares, freedom, off float64
	n := 0
	for seed := range uint64(20) {
		m := twoCameras(seed)
		d := Solve(m.recs, m.links)
		squares += d.Squares
		freedom += float64(d.Freedom)
		for k, c := range d.Checks {
			if c.Broken || c.Doubt {
				t.Fatalf("seed %d: link %d is called out: %+v", seed, k, c)
			}
		}
		for a := 3; a < len(m.recs); a += 2 { // camera B was never held against the pocket recorder
			p, ok := d.Between(a, 1)
			if !ok {
				t.Fatalf("seed %d: nothing ties %d to the pocket recorder", seed, a)
			}
			e := (p.Sound(50) - m.heard(a, 1, 50)) / p.SigmaAt(50)
			off += e * e
			n++
		}
	}
	if q := squares / freedom; q < 0.5 || q > 1.15 {
		t.Errorf("squared residuals are %.2f of what the deviations say", q)
	}
	if q := off / float64(n); q < 0.1 || q > 1.5 {
		t.Errorf("squared errors of places are %.2f of what their deviations say", q)
	}
}

// A link moved by 80 ms or by minutes is the one that is called out; what is
// left is as good as before.
func TestAWrongLinkIsCalledOut(t *testing.T) {
	for seed := range uint64(10) {
		for _, by := range []float64{0.08, -3, 200} {
			m := twoCameras(seed)
			wrong := 2 * m.rng.IntN(2) // of the first take: camera A with the lavalier or the pocket recorder
			m.links[wrong].Offset += by
			m.links[wrong].Strength = 200 // and looks better than all others
			d := Solve(m.recs, m.links)
			for k, c := range d.Checks {
				if c.Broken != (k == wrong) || c.Doubt {
					t.Errorf("seed %d, link %d moved by %g s: link %d: %+v", seed, wrong, by, k, c)
				}
			}
			if c := d.Checks[wrong]; math.Abs(c.Others+by) > 0.003 {
				t.Errorf("seed %d: moved by %g s, the others say %g", seed, by, c.Others)
			}
			p, _ := d.Between(3, 1)
			if e := p.Sound(50) - m.heard(3, 1, 50); math.Abs(e) > 5*p.SigmaAt(50) {
				t.Errorf("seed %d: off by %g s", seed, e)
			}
		}
	}
}

// Where one loop is all there is, nobody can tell which of its links is wrong:
// the weakest is left out, and the others are in doubt.
func TestALoneLoopLeavesDoubt(t *testing.T) {
	m := &made{rng: rand.New(rand.NewPCG(1, 1)), timeS: 20e-6, rateS: 0.2e-6}
	a, b, s := m.rec("A", 1, 10, 60), m.rec("B", 1, 12, 60), m.rec("lav", 1, 0, 100)
	m.link(a, s, true)
	m.link(b, s, true)
	m.link(a, b, true)
	m.links[1].Offset += 5
	m.links[0].Strength, m.links[1].Strength, m.links[2].Strength = 90, 40, 50
	d := Solve(m.recs, m.links)
	if open := d.Checks[2].Open; math.Abs(open-5) > 0.001 {
		t.Errorf("the loop is open by %g s, want 5", open)
	}
	if c := d.Checks; c[0].Broken || !c[0].Doubt || !c[1].Broken || c[2].Broken || !c[2].Doubt {
		t.Errorf("%+v", c)
	}
}

// Loops of three close when they should, and miss by as much as a link is
// moved.
func TestLoops(t *testing.T) {
	m := twoCameras(3)
	loops := Loops(len(m.recs), m.links)
	if len(loops) != 4 { // the takes in which both cameras were linked
		t.Fatalf("%d loops, want 4", len(loops))
	}
	for _, l := range loops {
		if math.Abs(l.Left) > 5*l.Sigma || l.Sigma > 60e-6 {
			t.Errorf("open by %g s, deviation %g", l.Left, l.Sigma)
		}
	}
	m.links[0].Offset += 0.010
	moved := Loops(len(m.recs), m.links)
	if by := moved[0].Left - loops[0].Left; math.Abs(math.Abs(by)-0.010) > 1e-6 {
		t.Errorf("a link moved by 10 ms opens its loop by %g s", by)
	}
}

// A turned link says the same.
func TestTurned(t *testing.T) {
	m := twoCameras(4)
	l := m.links[1]
	r := l.Turned()
	if back := r.Turned(); math.Abs(back.Offset-l.Offset) > 1e-9 || math.Abs(back.Drift-l.Drift) > 1e-15 || back.A != l.A {
		t.Errorf("%+v turned twice is %+v", l, back)
	}
	if e := r.Sound(l.Sound(33)) - 33; math.Abs(e) > 1e-9 {
		t.Errorf("there and back misses by %g s", e)
	}
}

// Nonsense is left aside.
func TestNonsense(t *testing.T) {
	recs := []Recording{{"a", 10}, {"b", 10}}
	good := Link{A: 0, B: 1, Alignment: align.Alignment{Offset: 2}, Mid: 3, MidSigma: 1e-5, DriftSigma: math.Inf(1)}
	links := []Link{good, good, good, good, good}
	links[0].B = 0
	links[1].Offset = math.NaN()
	links[2].MidSigma = 0
	links[3].B = 9
	d := Solve(recs, links)
	if p, ok := d.Between(0, 1); !ok || math.Abs(p.Sound(3)-5) > 1e-9 {
		t.Errorf("%v %v", p.Alignment, ok)
	}
	if p, ok := Solve(recs, links[:4]).Between(0, 1); ok {
		t.Errorf("tied by nonsense: %v", p.Alignment)
	}
	if n := len(Solve(nil, nil).Checks); n != 0 {
		t.Errorf("%d checks of nothing", n)
	}
}

// NumPy's least squares on the same equations, written there anew, gives the
// same starts and rates.
func TestSolveIsNumPys(t *testing.T) {
	m := twoCameras(11)
	d := Solve(m.recs, m.links)
	in, err := json.Marshal(map[string]any{"recs": m.recs, "links": m.finite(), "wander": Wander, "rates": Rates, "bend": bendOf})
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("/usr/bin/python3", "-c", numpys)
	cmd.Stdin = strings.NewReader(string(in))
	text, err := cmd.Output()
	if err != nil {
		if os.Getenv("EARSHOT_REFERENCE") != "" {
			t.Fatalf("python3 with NumPy: %v", err)
		}
		t.Skip("python3 with NumPy is not installed")
	}
	var theirs struct{ Start, Q []float64 }
	if err := json.Unmarshal(text, &theirs); err != nil {
		t.Fatal(err)
	}
	for i := range m.recs {
		start, q := d.parts[0].own(i)
		if math.Abs(start-theirs.Start[i]) > 1e-8 || math.Abs(q-theirs.Q[i]) > 1e-11 {
			t.Errorf("recording %d: start %.9f, rate %g; NumPy says %.9f, %g", i, start, q, theirs.Start[i], theirs.Q[i])
		}
	}
}

// finite is the links as plain numbers; a drift that is not told is left out.
func (m *made) finite() (out []map[string]float64) {
	for _, l := range m.links {
		e := map[string]float64{"a": float64(l.A), "b": float64(l.B), "offset": l.Offset, "drift": l.Drift, "mid": l.Mid, "sigma": l.MidSigma}
		if !math.IsInf(l.DriftSigma, 1) {
			e["driftsigma"] = l.DriftSigma
		}
		out = append(out, e)
	}
	return out
}

const numpys = `import json, sys, numpy as np
j = json.load(sys.stdin)
recs, links = j["recs"], j["links"]
devs = list(dict.fromkeys(r["Device"] for r in recs))
n, m = len(recs), len(devs)
A, y = [], []
def eq(terms, right, sigma):
    row = np.zeros(2 * n + m)
    for i, c in terms: row[i] += c
    A.append(row / sigma); y.append(right / sigma)
q = lambda i, c: [(n + i, c * 1e-6), (2 * n + devs.index(recs[i]["Device"]), c * 1e-6)]
for l in links:
    a, b, mid = int(l["a"]), int(l["b"]), l["mid"]
    s = l["offset"] + (1 + l["drift"]) * mid
    bend = j["wander"] * max(recs[a]["Length"], recs[b]["Length"]) / j["bend"]
    eq([(a, 1), (b, -1)] + q(a, mid) + q(b, -s), s - mid, np.hypot(l["sigma"], bend))
    if "driftsigma" in l: eq(q(a, 1) + q(b, -(1 + l["drift"])), l["drift"], l["driftsigma"])
for i in range(n): eq([(n + i, 1e-6)], 0, j["wander"])
for v in range(1, m): eq([(2 * n + v, 1e-6)], 0, j["rates"])
A, y = np.array(A), np.array(y)
keep = [i for i in range(2 * n + m) if i not in (0, 2 * n)]
x = np.zeros(2 * n + m)
x[keep] = np.linalg.lstsq(A[:, keep], y, rcond=None)[0]
json.dump({"start": list(x[:n]), "q": [float((x[n + i] + x[2 * n + devs.index(recs[i]["Device"])]) * 1e-6) for i in range(n)]}, sys.stdout)`

// A camera whose takes last three seconds says nothing of its rate, beside links
// that are good to a microsecond: what is solved for is known a million million
// times better in one unknown than in another.
func TestARateThatNothingTells(t *testing.T) {
	const a, b, lav1, lav2 = 0, 1, 2, 3
	recs := []Recording{{"camera a", 0}, {"camera b", 0}, {"lavalier 1", 0}, {"lavalier 2", 0}}
	start, fast := []float64{0, -12, -100, -101}, []float64{1, 1 - 46e-6, 1, 1 - 19e-6}
	truth := func(x, y int) align.Alignment {
		return align.Alignment{Offset: (start[x] - start[y]) * fast[y], Drift: fast[y]/fast[x] - 1}
	}
	var links []Link
	link := func(x, y int, mid, sigma, driftSigma float64) {
		links = append(links, Link{A: x, B: y, Alignment: truth(x, y), Mid: mid, MidSigma: sigma, DriftSigma: driftSigma, From: mid - 1, To: mid + 1, Strength: 20})
	}
	link(a, b, 1.8, 2.0e-6, math.Inf(1))
	link(a, lav1, 1.9, 5.9e-6, math.Inf(1))
	link(b, lav1, 19.1, 5.7e-7, 0.05e-6)
	link(b, lav2, 20.5, 3.9e-6, 0.3e-6)
	link(lav1, lav2, 108, 6.0e-6, 0.7e-6)
	d := Solve(recs, links)
	if d.Squares > 5*float64(d.Freedom) {
		t.Errorf("squared residuals %g in %d degrees of freedom", d.Squares, d.Freedom)
	}
	p, ok := d.Between(a, lav2)
	want := truth(a, lav2).Sound(2)
	if got := p.Sound(2); !ok || math.Abs(got-want) > 1e-4 {
		t.Errorf("camera a's second is heard at %.6f in lavalier 2, %v; want %.6f", got, ok, want)
	}
}
