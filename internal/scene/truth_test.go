package scene

import (
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// python returns a Python that has SciPy. The test is skipped when there is
// none, and fails instead when EARSHOT_REFERENCE is 1.
func python(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(name, "-c", "import scipy").Run() == nil {
			return name
		}
	}
	if os.Getenv("EARSHOT_REFERENCE") == "1" {
		t.Fatal("this check needs python3 with SciPy (Debian: python3-scipy)")
	}
	t.Skip("this check needs python3 with SciPy (Debian: python3-scipy)")
	return ""
}

// writeRaw writes samples as little-endian float32.
func writeRaw(t *testing.T, name string, samples []float32) string {
	t.Helper()
	raw := make([]byte, 0, 4*len(samples))
	for _, v := range samples {
		raw = binary.LittleEndian.AppendUint32(raw, math.Float32bits(v))
	}
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// scipyEstimate asks testdata/estimate.py where the clip lies in the sound.
func scipyEstimate(t *testing.T, clip, sound []float32, rate int) (offset, drift float64) {
	t.Helper()
	out, err := exec.Command(python(t), filepath.Join("testdata", "estimate.py"),
		writeRaw(t, "clip", clip), writeRaw(t, "sound", sound), fmt.Sprint(rate)).CombinedOutput()
	if err != nil {
		t.Fatalf("estimate.py: %v\n%s", err, out)
	}
	if _, err := fmt.Sscan(string(out), &offset, &drift); err != nil {
		t.Fatalf("estimate.py said %q: %v", out, err)
	}
	return offset, drift
}

// TestTruth holds the truth of clean shoots against an estimate by SciPy that
// knows nothing of this package: no room, simulated rooms, measured rooms.
func TestTruth(t *testing.T) {
	python(t)
	phrases, err := Phrases()
	if err != nil {
		t.Fatal(err)
	}
	rooms, err := Rooms()
	if err != nil {
		t.Fatal(err)
	}
	box := Shoebox{Size: [3]float64{5, 4, 2.7}, Talker: [3]float64{1.2, 2.2, 1.5}, Mic: [3]float64{3.4, 1.3, 1.4}, RT60: 0.4}
	cases := []struct {
		name  string
		room  *Response
		limit float64 // seconds
	}{
		{"no room", nil, 10e-6},
		{"box", box.Response(48000), 50e-6},
	}
	for _, r := range rooms {
		if r.Name == "live-room" {
			continue // whose strongest arrivals come up to 10 ms after the direct one
		}
		cases = append(cases, struct {
			name  string
			room  *Response
			limit float64
		}{r.Name, r, 1e-3})
	}
	for i, tt := range cases {
		s := &Scene{}
		at := 52.0
		for k := range 8 {
			s.Talk = append(s.Talk, Utterance{At: at, Excerpt: phrases[(7*i+3*k)%len(phrases)]})
			at = s.Talk[k].End() + 0.2
		}
		s.Clips = []Device{{Clock: Clock{Start: 51.77, PPM: -38}, Length: at - 51, Paths: []Path{{Flight: 0.0071, Room: tt.room}}}}
		s.Sounds = []Device{{Clock: Clock{Start: 47.31, PPM: 22}, Length: at - 44, Paths: []Path{{Flight: 0.0006}}}}
		truth := s.Truth()[0]
		offset, drift := scipyEstimate(t, s.Render(&s.Clips[0], 16000), s.Render(&s.Sounds[0], 16000), 16000)
		middle := s.Clips[0].Length / 2
		off := offset + drift*middle - truth.Offset - truth.Drift*middle
		t.Logf("%-12s off by %+.1f µs in the middle, drift by %+.2f ppm", tt.name, off*1e6, (drift-truth.Drift)*1e6)
		if math.Abs(off) > tt.limit {
			t.Errorf("%s: the truth is %.6f s, SciPy finds %.6f s", tt.name, truth.Offset, offset)
		}
	}
}
