package main

import (
	"bytes"
	"encoding/binary"
	"math"
	"os/exec"
	"strconv"
	"strings"
	"testing"
"time"

	"earshot/internal/scene"
	"earshot/internal/web/webtest"
)

// longTake is a clip of eleven minutes and a half with talk all along, and a recorder whose
// clock and rate are others. What the two hear is the same, 20 ms apart.
func longTake(t *testing.T) *scene.Scene {
	t.Helper()
	const begin, length = 7.3, 690.0
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

// apartScript is SciPy's word on by how many frames the second of two sounds
// comes after the first: the peak of their cross-correlation between 200 and
// 6000 Hz, resampled sixty-four-fold.
const apartScript = `
import sys, numpy, scipy.signal as s
band = s.butter(4, [200, 6000], 'bandpass', fs=48000, output='sos')
for x, y in numpy.frombuffer(sys.stdin.buffer.read(), '<f4').astype(float).reshape(-1, 2, int(sys.argv[1])):
    x, y = s.sosfiltfilt(band, x), s.sosfiltfilt(band, y)
    r = s.correlate(y, x, 'full', 'fft')
    mid = len(x) - 1
    fine = s.resample_poly(r[mid - 300:mid + 301], 64, 1)
    print(fine.argmax() / 64 - 300)
`

// apart is by how many frames the right ear comes after the left one, by
// SciPy, of pairs of one length; nil where there is no SciPy.
func apart(t *testing.T, pairs ...[2][]float32) (out []float64) {
	t.Helper()
	const python = "/usr/bin/python3"
	if exec.Command(python, "-c", "import scipy").Run() != nil {
		missing(t, "python3 with scipy")
	}
	var in bytes.Buffer
	for _, p := range pairs {
		for _, x := range p {
			if err := binary.Write(&in, binary.LittleEndian, x); err != nil {
				t.Fatal(err)
			}
		}
	}
	cmd := exec.Command(python, "-c", apartScript, strconv.Itoa(len(pairs[0][0])))
	cmd.Stdin = &in
	said, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, said)
	}
	for _, word := range strings.Fields(string(said)) {
		v, err := strconv.ParseFloat(word, 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	if len(out) != len(pairs) {
		t.Fatalf("%d words on %d pairs", len(out), len(pairs))
	}
	return out
}

// The two microphones come out of the page within a sample of each other at the
// beginning of a take and after ten minutes, with a recorder that counts 85
// parts in a million faster than the camera: measured, played and correlated.
func TestHeardTogetherAfterTenMinutes(t *testing.T) {
	needs(t, "ffmpeg")
	b := webtest.Browser(t)
	folder := t.TempDir()
	w := writeScene(t, folder, longTake(t))
	t0 := time.Now()
	d := startDesk(t, t.TempDir(), folder)
	p := openPage(t, b, 1280, 900, d.url)
	t.Log(time.Since(t0))
	p.measured(1)
	t.Log(time.Since(t0))
	take := p.take("C0001.mp4")
	truth := w.Truth[0]
	t.Logf("%s: offset %+.2f µs, drift %+.3f ppm off the truth of %+.1f", take.verdict,
		1e6*(take.line.Offset-truth.Offset), take.line.Drift-1e6*truth.Drift, 1e6*truth.Drift)
	p.renders(rendering{Take: take.id, Length: take.length, Seconds: 684, Mode: "split", Volume: full()})
	t.Log(time.Since(t0))
	var pairs [][2][]float32
	for _, at := range []int{0, 300, 600, 672} {
		pairs = append(pairs, p.ears(at*heardRate, (at+12)*heardRate))
	}
	t.Log(time.Since(t0))
	for n, by := range apart(t, pairs...) {
		t.Logf("pair %d: the camera's sound comes %+.3f samples after the good one", n, by)
		if !(math.Abs(by) < 1) {
			t.Errorf("pair %d: %+.3f samples apart", n, by)
		}
	}
	p.Clean()
}
