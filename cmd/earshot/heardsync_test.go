package main

import (
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"earshot/internal/media/mediatest"
	"earshot/internal/scene"
	"earshot/internal/web/webtest"
)

// longTake is a clip of eleven minutes with talk all along, and a recorder of
// another rate whose clock runs otherwise. What the two hear is the same, 20 ms
// apart.
func longTake(t *testing.T) *scene.Scene {
	t.Helper()
	const begin, length = 7.3, 660.0
	s := &scene.Scene{Talk: talk(t, begin+0.5, begin+length+5, 12)}
	s.Clips = []scene.Device{{Name: "C0001.mp4", Clock: scene.Clock{Start: begin, PPM: -5}, Length: length, Paths: []scene.Path{{Flight: 0.02}}, Floor: -75, Seed: 1}}
	s.Sounds = []scene.Device{{Name: "long.wav", Clock: scene.Clock{Start: 1.2345678, PPM: 80}, Length: length + 20, Paths: []scene.Path{{}}, Rate: 44100, Floor: -75, Seed: 2}}
	return s
}

// talk is a phrase every so often, no two alike.
func talk(t *testing.T, from, to, every float64) (out []scene.Utterance) {
	t.Helper()
	phrases, err := scene.Phrases()
	if err != nil {
		t.Fatal(err)
	}
	for n, at := 0, from; at < to; n, at = n+1, at+every {
		out = append(out, scene.Utterance{At: at, Excerpt: phrases[11*n%len(phrases)], Speed: 1 + 0.01*float64(n/len(phrases))})
	}
	return out
}

// talkBand is what is compared of two microphones.
var talkBand = mediatest.Band{Low: 200, High: 6000}

// The two microphones come out of the page within a sample of each other at the
// beginning of a take and after ten minutes, with a recorder that counts 85
// parts in a million faster than the camera: measured, played and correlated.
func TestHeardTogetherAfterTenMinutes(t *testing.T) {
	needs(t, "ffmpeg")
	b := webtest.Browser(t)
	folder := t.TempDir()
	truth := writeScene(t, folder, longTake(t)).Truth[0]
	d := startDesk(t, t.TempDir(), folder)
	p := openPage(t, b, 1280, 900, d.url)
	p.measured(1)
	take := p.take("C0001.mp4")
	t.Logf("%s: offset %+.2f µs, drift %+.3f ppm off the truth of %+.1f", take.verdict,
		1e6*(take.line.Offset-truth.Offset), take.line.Drift-1e6*truth.Drift, 1e6*truth.Drift)
	p.renders(rendering{Take: take.id, Length: take.length, Seconds: 624, Mode: "split", Volume: full()})
	var pairs [][2][]float32
	for _, at := range []int{0, 300, 600, 612} {
		pairs = append(pairs, p.ears(at*heardRate, (at+12)*heardRate))
	}
	for n, by := range mediatest.Apart(t, talkBand, pairs...) {
		t.Logf("pair %d: the camera's sound comes %+.3f samples after the good one", n, by)
		if !(math.Abs(by) < 1) {
			t.Errorf("pair %d: %+.3f samples apart", n, by)
		}
	}
	p.Clean()
}

// kinds are recorders as people have them, each with a take of half a minute.
var kinds = []struct {
	clip, sound string
	rate        int
	ppm         float64
	stereo      bool
	lost        float64 // seconds that are missing from the middle on
}{
	{"C0001.mp4", "a/44.wav", 44100, 60, false, 0},
	{"C0002.mp4", "b/96.wav", 96000, -70, false, 0},
	{"C0003.mp4", "c/stereo.wav", 44100, 100, true, 0},
	{"C0004.mp4", "d/layer.mp3", 44100, 80, true, 0},
	{"C0005.mp4", "e/phone.m4a", 48000, 70, false, 0},
	{"C0006.mp4", "f/lost.wav", 48000, 20, false, 0.31},
}

// farClip is a clip whose camera stood in a room, in noise, and was set low.
const farClip = "C0007.mp4"

// shortTakes is a shoot of kinds, and of farClip.
func shortTakes(t *testing.T) *scene.Scene {
	t.Helper()
	const length, every = 30.0, 100.0
	s := &scene.Scene{Talk: talk(t, 5, every*float64(len(kinds)+1), 3)}
	for n, k := range kinds {
		begin := 10 + every*float64(n)
		sound := scene.Device{Name: k.sound, Clock: scene.Clock{Start: begin - 2.3456, PPM: k.ppm}, Length: length + 6, Paths: []scene.Path{{}}, Rate: k.rate, Floor: -75, Seed: uint64(2*n + 2)}
		if k.lost > 0 {
			sound.Losses = []scene.Loss{{At: length / 2, Seconds: k.lost}}
		}
		s.Sounds = append(s.Sounds, sound)
		s.Clips = append(s.Clips, scene.Device{Name: k.clip, Clock: scene.Clock{Start: begin}, Length: length, Paths: []scene.Path{{Flight: 0.01}}, Floor: -75, Seed: uint64(2*n + 1)})
	}
	rooms, err := scene.Rooms()
	if err != nil {
		t.Fatal(err)
	}
	begin := 10 + every*float64(len(kinds))
	s.Sounds = append(s.Sounds, scene.Device{Name: "g/near.wav", Clock: scene.Clock{Start: begin - 2, PPM: 30}, Length: length + 6, Paths: []scene.Path{{Flight: 0.0005}},
		Gain: 6, Limit: true, Floor: -65, Cloth: -45, Seed: 51})
	s.Clips = append(s.Clips, scene.Device{Name: farClip, Clock: scene.Clock{Start: begin, PPM: -10}, Length: length, Paths: []scene.Path{{Flight: 0.01, Room: rooms[0]}},
		Noise: scene.Pink, SNR: 18, Gain: -14, Floor: -70, Seed: 52})
	return s
}

// TestHeard listens to a shoot with recorders of all kinds, in one page.
func TestHeard(t *testing.T) {
	needs(t, "ffmpeg")
	b := webtest.Browser(t)
	folder := t.TempDir()
	w := writeScene(t, folder, shortTakes(t))
	for n, k := range kinds {
		if k.stereo {
			twoChannels(t, w.Sounds[n])
		}
	}
	d := startDesk(t, t.TempDir(), folder)
	p := openPage(t, b, 1280, 900, d.url)
	p.measured(len(w.Clips))
	t.Run("quiet", func(t *testing.T) { testQuiet(t, p) })
	t.Run("together", func(t *testing.T) { testTogether(t, p, w) })
	t.Run("moved", func(t *testing.T) { testMoved(t, p) })
	t.Run("flips", func(t *testing.T) { testFlips(t, p) })
	t.Run("matched", func(t *testing.T) { testMatched(t, p) })
	t.Run("loop and seek", func(t *testing.T) { testJoins(t, p) })
	p.Clean()
}

// Whatever the recorder writes, the two are heard together: in the first and in
// the last seconds of half a minute, and on both sides of a loss.
func testTogether(t *testing.T, p *page, w *scene.Written) {
	var pairs [][2][]float32
	for n, k := range kinds {
		take, truth := p.take(k.clip), w.Truth[n*len(w.Sounds)+n]
		t.Logf("%s: %s: offset %+.2f µs, drift %+.3f ppm off the truth", k.sound, take.verdict, 1e6*(take.line.Offset-truth.Offset), take.line.Drift-1e6*truth.Drift)
		p.renders(rendering{Take: take.id, Length: take.length, Seconds: take.length, Mode: "split", Volume: full()})
		for _, at := range []int{0, 22} {
			pairs = append(pairs, p.ears(at*heardRate, (at+7)*heardRate))
		}
	}
	for n, by := range mediatest.Apart(t, talkBand, pairs...) {
		t.Logf("%s, %s: %+.4f samples", kinds[n/2].sound, []string{"begin", "end"}[n%2], by)
		if !(math.Abs(by) < 1) {
			t.Errorf("%s: %+.3f samples apart", kinds[n/2].sound, by)
		}
	}
}

// When the good sound is moved by hand, what is heard moves by exactly that, and
// the camera's stays, bit for bit.
func testMoved(t *testing.T, p *page) {
	take := p.take(kinds[0].clip)
	listen := func() [2][]float32 {
		p.renders(rendering{Take: take.id, Length: take.length, Seconds: 8, Begin: 10, Mode: "split", Volume: full()})
		return p.ears(heardRate/2, 8*heardRate)
	}
	before := listen()
	var pairs [][2][]float32
	later := []float64{0.01, -0.00073, 0.0052083} // seconds
	for _, by := range later {
		moved := line{take.line.Offset - by*(1+take.line.Drift*1e-6), take.line.Drift}
		word, _ := json.Marshal(map[string]line{"line": moved})
		p.JS(`await fetch('/api/takes/`+take.id+`/word', {method: 'PATCH', headers: {'Content-Type': 'application/json'}, body: `+quoted(string(word))+`}).then((r) => { if (!r.ok) throw new Error(r.status) })`, nil)
		after := listen()
		if !slices.Equal(after[1], before[1]) {
			t.Errorf("moved by %g s: the camera's sound has changed", by)
		}
		pairs = append(pairs, [2][]float32{before[0], after[0]})
	}
	p.undo()
	p.undo()
	p.undo()
	p.Until("it is back", `await fetch('/api/state').then((r) => r.json()).then((s) => s.takes.every((t) => t.moved_ms === 0))`)
	for n, by := range mediatest.Apart(t, talkBand, pairs...) {
		t.Logf("moved %+.5f ms: heard %+.5f ms later", 1e3*later[n], 1e3*by/heardRate)
		if !(math.Abs(by-later[n]*heardRate) < 0.02) {
			t.Errorf("moved by %+.4f frames, heard %+.4f later", later[n]*heardRate, by)
		}
	}
}

// twoChannels makes a sound one of two channels, the second at another level.
func twoChannels(t *testing.T, path string) {
	t.Helper()
	out := filepath.Join(t.TempDir(), filepath.Base(path))
	if said, err := exec.Command("ffmpeg", "-v", "error", "-i", path, "-af", "pan=stereo|c0=c0|c1=0.4*c0", out).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, said)
	}
	if err := os.Rename(out, path); err != nil {
		t.Fatal(err)
	}
}
