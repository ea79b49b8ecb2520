package app

import (
	"math"
	"testing"

	"earshot/internal/align"
	"earshot/internal/match"
	"earshot/internal/scene"
	"earshot/internal/shoot"
)

// bookOf makes a drift book of takes: clip i of device "cam" with sound i of
// the device named.
type booked struct {
	recorder string
	length   float64 // seconds
	drift    float64 // ppm
	sigma    float64 // ppm
	unsure   bool
}

func bookOf(takes []booked) (*driftBook, *measurer) {
	m := &measurer{}
	var decisions []match.Decision
	for i, b := range takes {
		m.clips = append(m.clips, &recording{device: "cam"})
		m.sounds = append(m.sounds, &recording{device: b.recorder})
		row := make([]*link, len(takes))
		f := &align.Found{Alignment: align.Alignment{Offset: 5, Drift: b.drift * 1e-6}, DriftSigma: b.sigma * 1e-6, To: b.length, Mid: b.length / 2, MidSigma: 1e-5}
		row[i] = &link{Found: f}
		m.links = append(m.links, row)
		d := match.Decision{Link: match.Link{Clip: i, Sound: i}, Verdict: match.Sure}
		if b.unsure {
			d.Verdict = match.Unsure
		}
		decisions = append(decisions, d)
	}
	return newDriftBook(decisions, m), m
}

// The first take of each list is settled.
func TestDriftIsSettled(t *testing.T) {
	long := func(ppm float64) booked { return booked{"mic", 300, ppm, 0.2, false} }
	short := booked{"mic", 5, -90, 60, false}
	for _, tt := range []struct {
		name  string
		takes []booked
		from  shoot.DriftFrom
		ppm   float64
		sigma float64 // ppm, at most
	}{
		{"a long take knows its own", []booked{long(31), long(33)}, shoot.FromTake, 31, 0.2},
		{"a short one takes the others'", []booked{short, long(31), long(31.4)}, shoot.FromShoot, 31.2, 1},
		{"from one other", []booked{short, long(31)}, shoot.FromShoot, 31, 1},
		{"a short one alone has none", []booked{short}, shoot.FromNone, 0, align.Ordinary * 1e6},
		{"other short ones do not help", []booked{short, short, short}, shoot.FromNone, 0, align.Ordinary * 1e6},
		{"another recorder does not help", []booked{short, {"second", 300, 31, 0.2, false}}, shoot.FromNone, 0, align.Ordinary * 1e6},
		{"an unsure take does not help", []booked{short, {"mic", 300, 31, 0.2, true}}, shoot.FromNone, 0, align.Ordinary * 1e6},
		{"one that is out of line is left out", []booked{short, long(31), long(-70), long(31.2)}, shoot.FromShoot, 31.1, 1},
		{"where no two agree there is none", []booked{short, long(31), long(-70)}, shoot.FromNone, 0, align.Ordinary * 1e6},
		{"the surest weigh most", []booked{short, long(31), {"mic", 20, 34, 6, false}}, shoot.FromShoot, 31, 1},
		{"a fair take that is alone keeps its own", []booked{{"mic", 20, 25, 6, false}}, shoot.FromTake, 24.64, 6}, // 25 · 50²/(50²+6²)
		{"a fair take among sure ones takes theirs", []booked{{"mic", 20, 25, 6, false}, long(31)}, shoot.FromShoot, 31, 1},
		{"a long take that cannot tell", []booked{{"mic", 60, 140, 40, false}}, shoot.FromNone, 0, align.Ordinary * 1e6},
		{"a short take that tells is believed of itself", []booked{{"mic", 14, 31, 0.1, false}}, shoot.FromTake, 31, 0.1},
		{"but not of others", []booked{short, {"mic", 14, 31, 0.1, false}}, shoot.FromNone, 0, align.Ordinary * 1e6},
	} {
		t.Run(tt.name, func(t *testing.T) {
			book, m := bookOf(tt.takes)
			f := m.links[0][0].Found
			got, from, why := book.settle(0, 0, f)
			if from != tt.from || math.Abs(got.Drift*1e6-tt.ppm) > 0.15 {
				t.Errorf("%.2f ppm from %s, want %.2f from %s", got.Drift*1e6, from, tt.ppm, tt.from)
			}
			if !(got.DriftSigma*1e6 <= tt.sigma+1e-9) {
				t.Errorf("sigma %.2f ppm, want %.2f at most", got.DriftSigma*1e6, tt.sigma)
			}
			if e := math.Abs(got.Sound(f.Mid) - f.Sound(f.Mid)); e > 1e-9 {
				t.Errorf("the take's middle moved by %g s", e)
			}
			if (from == shoot.FromTake) != (len(why) == 0) {
				t.Errorf("why %q", why)
			}
		})
	}
}

// By hand: weights are 1/sigma², the median is where half of them is reached.
func TestWeightedMedian(t *testing.T) {
	e := func(drift, sigma float64) driftEntry { return driftEntry{drift: drift, sigma: sigma} }
	for _, tt := range []struct {
		in   []driftEntry
		want float64
	}{
		{[]driftEntry{e(3, 1)}, 3},
		{[]driftEntry{e(9, 1), e(1, 1), e(2, 1)}, 2},
		{[]driftEntry{e(1, 2), e(2, 2), e(9, 1)}, 9}, // ¼ + ¼ < 1
		{[]driftEntry{e(9, 3), e(8, 3), e(1, 1)}, 1},
	} {
		if got := weightedMedian(tt.in); got != tt.want {
			t.Errorf("weightedMedian(%v) = %g, want %g", tt.in, got, tt.want)
		}
	}
}

// In a measured shoot a take of five seconds joins what it says of its drift with
// what a take of forty of the same two devices shows.
func TestShortTakeJoinsTheOthersDrift(t *testing.T) {
	phrases, err := scene.Phrases()
	if err != nil {
		t.Skip(err)
	}
	s := &scene.Scene{}
	for at, i := 3.0, 0; at < 58; i++ {
		p := phrases[i%len(phrases)]
		s.Talk = append(s.Talk, scene.Utterance{At: at, Excerpt: p})
		at += p.Length() + 0.2
	}
	second := camera(50, 5)
	second.Name, second.Seed = "CARD/C0002.MP4", 5
	s.Clips = []scene.Device{camera(3, 40), second}
	s.Sounds = []scene.Device{recorder("PHONE/r1.wav", 0, 60, 2)}
	doc := film(t, s)
	if len(doc.Takes) != 2 {
		t.Fatalf("%d takes, want 2: %+v", len(doc.Takes), doc.Alone)
	}
	long, short := doc.Takes[0], doc.Takes[1]
	if long.DriftFrom != shoot.FromTake || math.Abs(long.Drift-45) > 4*long.DriftSigma+0.1 {
		t.Errorf("long take: %.2f ± %.2f ppm from %s, want 45 from the take", long.Drift, long.DriftSigma, long.DriftFrom)
	}
	if math.Abs(short.Drift-45) > 3*short.DriftSigma || short.DriftSigma > clockWander*1e6*math.Sqrt2 {
		t.Errorf("short take: %.3f ± %.3f ppm, want 45, as well as the long one tells it", short.Drift, short.DriftSigma)
	}
	p := s.Truth()[1]
	for _, at := range []float64{0, 5} {
		got := short.Offset + (1+short.Drift*1e-6)*at
		if e := math.Abs(got-(p.Offset+(1+p.Drift)*at)) * 1e3; e > 0.15 {
			t.Errorf("at %g s off by %.3f ms, want within 0.15", at, e)
		}
	}
}
