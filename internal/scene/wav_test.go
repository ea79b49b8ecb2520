package scene

import (
	"encoding/binary"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// program returns the path of an outside program; see python for when it
// skips.
func program(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	if os.Getenv("EARSHOT_REFERENCE") == "1" {
		t.Fatalf("this check needs %s", name)
	}
	t.Skipf("this check needs %s", name)
	return ""
}

// TestADPCM decodes recorded speech and holds every sample against FFmpeg's
// decoder.
func TestADPCM(t *testing.T) {
	ffmpeg := program(t, "ffmpeg")
	for _, name := range []string{"testdata/speech/talk-1.wav", "demo/voice/one-1.wav"} {
		raw, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		got, rate, err := decodeWAV(raw)
		if err != nil || rate != 16000 {
			t.Fatalf("%s: rate %g, error %v", name, rate, err)
		}
		want, err := exec.Command(ffmpeg, "-v", "error", "-i", name, "-f", "s16le", "-").Output()
		if err != nil {
			t.Fatal(err)
		}
		if len(got) < len(want)/2-4096 || len(got) > len(want)/2 {
			t.Fatalf("%s: %d samples, FFmpeg has %d", name, len(got), len(want)/2)
		}
		for i, v := range got {
			if w := int16(binary.LittleEndian.Uint16(want[2*i:])); int16(v*32768) != w {
				t.Fatalf("%s: sample %d is %g, FFmpeg says %d", name, i, v*32768, w)
			}
		}
	}
}

// TestBadWAV feeds broken files: an error, never a panic.
func TestBadWAV(t *testing.T) {
	good, err := os.ReadFile("testdata/speech/talk-2.wav")
	if err != nil {
		t.Fatal(err)
	}
	for n := range 200 {
		if _, _, err := decodeWAV(good[:n]); err == nil {
			t.Errorf("the first %d bytes decode without an error", n)
		}
	}
	stereo := append([]byte(nil), good...)
	stereo[22] = 2
	if _, _, err := decodeWAV(stereo); err == nil {
		t.Error("two channels decode without an error")
	}
	path := filepath.Join(t.TempDir(), "x.wav")
	if err := os.WriteFile(path, []byte("RIFF"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := LoadResponse(path); err == nil {
		t.Error("a four-byte file is a response")
	}
}

// TestRooms checks the measured responses: the direct sound near the start, a
// plausible decay.
func TestRooms(t *testing.T) {
	rooms, err := Rooms()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rooms {
		t.Logf("%s: direct at %.2f ms, DRR %.1f dB, RT60 %.2f s", r.Name, 1000*r.Direct/r.Rate, r.DRR(), r.RT60())
		if r.Direct/r.Rate > 0.01 || r.RT60() < 0.1 || r.RT60() > 5 || math.IsNaN(r.DRR()) {
			t.Errorf("%s: direct at %.2f ms, RT60 %.2f s", r.Name, 1000*r.Direct/r.Rate, r.RT60())
		}
	}
}
