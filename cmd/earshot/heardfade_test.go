package main

import (
	"encoding/binary"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// fadedIn is when what is rendered has faded in, in frames.
const fadedIn = 8000

func dBFS(v float64) float64 { return 20 * math.Log10(v) }

func rms(x []float32) float64 {
	sum := 1e-30
	for _, v := range x {
		sum += float64(v) * float64(v)
	}
	return math.Sqrt(sum / float64(len(x)))
}

// A page begins 20 dB down or lower, and says why.
func testQuiet(t *testing.T, p *page) {
	take := p.take(farClip)
	r := rendering{Take: take.id, Length: take.length, Seconds: 10, Mode: "body", Matched: true}
	begun := p.renders(r)
	quiet := rms(p.ears(fadedIn, begun.Frames)[0])
	p.JS(`void (location.hash = '#/take/`+take.id+`')`, nil)
	p.Until("the page says why it is quiet", `document.querySelector('#main').innerText.includes(`+quoted(begun.Quiet)+`)`)
	r.Volume = full()
	p.renders(r)
	down := dBFS(quiet / rms(p.ears(fadedIn, begun.Frames)[0]))
	t.Logf("a page begins at %.2f dB and says: %s", down, begun.Quiet)
	if !(down <= -20+1e-6) || !strings.Contains(begun.Quiet, "quiet") {
		t.Errorf("a page begins at %.2f dB and says %q", down, begun.Quiet)
	}
	p.JS(`void (location.hash = '')`, nil)
}

// A flip between the microphones steps by less than -60 dBFS beyond what the
// sounds do by themselves. Below the safety net the page is linear, so a
// constant of 1/2 in one microphone alone shows half that one's gain g at every
// frame; the
// step at frame n is y[n] - sum of g[n-1] x[n].
func testFlips(t *testing.T, p *page) {
	take := p.take(farClip)
	r := rendering{Take: take.id, Length: take.length, Seconds: 15.5, Mode: "body", Volume: full(), Matched: true}
	for n := range 20 {
		r.Steps = append(r.Steps, []any{1 + 0.7*float64(n) + 0.11*float64(n%3), "setMode", "flip"})
	}
	out := p.renders(r)
	y := p.ears(0, out.Frames)
	r.Source = "body"
	p.renders(r)
	body := p.ears(0, out.Frames)
	r.Source = "scratch"
	p.renders(r)
	scratch := p.ears(0, out.Frames)
	x := p.sent(take.id, 0, out.Frames)
	step, cut, flips := 0.0, 0.0, 0
	for ear := range y {
		for n := fadedIn; n < out.Frames; n++ {
			b, s := float64(x[0][n]), float64(x[1][n])
			held := 2*float64(body[ear][n-1])*b + 2*float64(scratch[ear][n-1])*s
			step = max(step, math.Abs(float64(y[ear][n])-held))
			if body[ear][n] != body[ear][n-1] && (body[ear][n-1] == 0 || scratch[ear][n-1] == 0) { // one begins
				flips++
				cut = max(cut, math.Abs(b*math.Pow(10, out.Match.Body/20)-s*math.Pow(10, out.Match.Scratch/20)))
			}
		}
	}
	t.Logf("%d flips: the largest step is %.1f dBFS, of hard cuts %.1f", flips/2, dBFS(step), dBFS(cut))
	if !(dBFS(step) <= -60) || !(dBFS(cut) > -40) || flips != 2*len(r.Steps) {
		t.Errorf("%d flips: the largest step is %.1f dBFS, of hard cuts %.1f", flips/2, dBFS(step), dBFS(cut))
	}
}

// lufs is the integrated loudness of a sound of one or two channels, by ffmpeg's
// ebur128 filter (ITU-R BS.1770).
func lufs(t *testing.T, channels ...[]float32) float64 {
	t.Helper()
	path := filepath.Join(t.TempDir(), "heard.f32")
	raw := make([]byte, 0, 4*len(channels)*len(channels[0]))
	for i := range channels[0] {
		for _, c := range channels {
			raw = binary.LittleEndian.AppendUint32(raw, math.Float32bits(c[i]))
		}
	}
	if err := os.WriteFile(path, raw, 0o666); err != nil {
		t.Fatal(err)
	}
	said, err := exec.Command("ffmpeg", "-hide_banner", "-nostats", "-f", "f32le", "-ar", strconv.Itoa(heardRate), "-ac", strconv.Itoa(len(channels)),
		"-i", path, "-af", "ebur128", "-f", "null", "-").CombinedOutput()
	found := regexp.MustCompile(`Integrated loudness:\s+I:\s+(\S+) LUFS`).FindSubmatch(said)
	if err != nil || found == nil {
		t.Fatalf("%v: %s", err, said)
	}
	v, err := strconv.ParseFloat(string(found[1]), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// The two microphones alone are equally loud where the one is more than 10 LU
// louder, on speech in a room with noise.
func testMatched(t *testing.T, p *page) {
	take := p.take(farClip)
	frames := int(take.length * heardRate)
	sent := p.sent(take.id, 0, frames)
	apart := lufs(t, sent[0]) - lufs(t, sent[1])
	loud := map[string]float64{}
	for _, mode := range []string{"body", "scratch"} {
		p.renders(rendering{Take: take.id, Length: take.length, Seconds: take.length, Mode: mode, Volume: full(), Matched: true})
		y := p.ears(0, frames)
		loud[mode] = lufs(t, y[0], y[1])
	}
	t.Logf("the sides are %.1f LU apart; heard alone: %.1f and %.1f LUFS", apart, loud["body"], loud["scratch"])
	if !(math.Abs(loud["body"]-loud["scratch"]) <= 0.5) || !(math.Abs(apart) > 10) {
		t.Errorf("the sides are %.1f LU apart; heard alone: %.1f and %.1f LUFS", apart, loud["body"], loud["scratch"])
	}
}

// A loop's join and a seek while playing step by less than -60 dBFS beyond what
// the sounds do, and nothing else is heard than the clip at its places.
func testJoins(t *testing.T, p *page) {
	take := p.take(farClip)
	for what, r := range map[string]rendering{
		"loop": {Seconds: 8, Begin: 4.321, Loop: []any{4.321, 5.6789}, At: 5 * heardRate},
		"seek": {Seconds: 8, Begin: 2, At: 12 * heardRate, Steps: [][]any{{1.5, "seek", 20.5}, {2.9, "seek", 3.25}, {4.4, "seek", 25.125}, {4.43, "seek", 1.0}, {6, "seek", 14}}},
	} {
		r.Take, r.Length, r.Mode, r.Volume, r.Matched = take.id, take.length, "split", full(), true
		out := p.renders(r)
		y := p.ears(0, out.Frames)[0]
		r.Source = "place"
		p.renders(r)
		places := p.ears(0, out.Frames)[0]
		r.Source = "side"
		p.renders(r)
		sides := p.ears(0, out.Frames)
		x := p.sent(take.id, 0, int(take.length*heardRate))[0]
		j := joins{x: x, places: places, sides: sides, at: r.At, gain: math.Pow(10, out.Match.Body/20)}
		j.look(y)
		t.Logf("%s: %d joins; the largest step is %.1f dBFS, of hard cuts %.1f; %.1f dBFS is not the clip at its places", what, j.count, dBFS(j.step), dBFS(j.cut), dBFS(j.other))
		if !(dBFS(j.step) <= -60) || !(dBFS(j.cut) > -40) || !(dBFS(j.other) < -100) || j.count < 4 {
			t.Errorf("%s: %d joins; the largest step is %.1f dBFS, of hard cuts %.1f; %.1f dBFS is not the clip at its places", what, j.count, dBFS(j.step), dBFS(j.cut), dBFS(j.other))
		}
	}
}

// joins looks at how one place of a clip gives way to another on the other side
// of frame at.
type joins struct {
	x      []float32    // the clip
	places []float32    // (k + 1) / 2^22 where frame k is heard alone
	sides  [2][]float32 // half of how loud what lies before at is heard, and what lies after
	at     int
	gain   float64

	count            int
	step, cut, other float64 // the largest of each
}

// alone says whether one place alone is heard at frame n of the rendering.
func (j *joins) alone(n int) bool {
	a, b := j.sides[0][n], j.sides[1][n]
	return a == 0.5 && b == 0 || a == 0 && b == 0.5
}

// place is which frame of the clip is heard there.
func (j *joins) place(n int) int { return int(math.Round(float64(j.places[n])*(1<<22))) - 1 }

// look goes through a rendering.
func (j *joins) look(y []float32) {
	for n := fadedIn; n < len(y); n++ {
		if j.alone(n) {
			j.other = max(j.other, math.Abs(float64(y[n])-j.gain*float64(j.x[j.place(n)])))
			continue
		}
		end := n
		for end < len(y) && !j.alone(end) {
			end++
		}
		if end == len(y) {
			return
		}
		j.join(y, n, end)
		n = end
	}
}

// join looks at one, from frame n to end.
func (j *joins) join(y []float32, n, end int) {
	j.count++
	goes, comes := j.place(n-1)-(n-1), j.place(end)-end // what to add to a frame of the rendering
	for ; n <= end; n++ {
		a, b := float64(j.x[n+goes]), float64(j.x[n+comes])
		mix := func(n int) float64 {
			return j.gain * (j.weight(n, n+goes)*a + j.weight(n, n+comes)*b)
		}
		j.other = max(j.other, math.Abs(float64(y[n])-mix(n)))
		j.step = max(j.step, math.Abs(float64(y[n])-mix(n-1)))
		j.cut = max(j.cut, j.gain*math.Abs(a-b))
	}
}

// weight is how loud the side of the clip's frame k is heard at frame n.
func (j *joins) weight(n, k int) float64 {
	if k < j.at {
		return 2 * float64(j.sides[0][n])
	}
	return 2 * float64(j.sides[1][n])
}
