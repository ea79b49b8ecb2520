package dsp

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
)

// missingReference skips the test for want of a reference program, or fails it
// where EARSHOT_REFERENCE=1 promises that the program is there.
func missingReference(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("EARSHOT_REFERENCE") == "1" {
		t.Fatalf("%s is missing, and EARSHOT_REFERENCE=1 says it must be here", what)
	}
	t.Skipf("%s is not installed", what)
}

// pythonWithSciPy returns a Python that has SciPy; the one first in PATH may
// be another than the system's.
func pythonWithSciPy(t *testing.T) string {
	t.Helper()
	for _, python := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(python, "-c", "import scipy.signal").Run() == nil {
			return python
		}
	}
	missingReference(t, "python3 with scipy")
	return ""
}

// filterFloats runs a program that reads and writes raw little-endian
// float32.
func filterFloats(t *testing.T, in []float32, name string, args ...string) []float32 {
	t.Helper()
	stdout := floatsThrough(t, in, name, args...)
	out := make([]float32, len(stdout)/4)
	if err := binary.Read(bytes.NewReader(stdout), binary.LittleEndian, out); err != nil {
		t.Fatal(err)
	}
	return out
}

// floatsThrough is what a program writes that reads raw little-endian float32.
func floatsThrough(t *testing.T, in []float32, name string, args ...string) []byte {
	t.Helper()
	var stdin, stdout, stderr bytes.Buffer
	if err := binary.Write(&stdin, binary.LittleEndian, in); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(name, args...)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = &stdin, &stdout, &stderr
	if err := cmd.Run(); err != nil {
		t.Fatalf("%s: %v\n%s", name, err, stderr.Bytes())
	}
	return stdout.Bytes()
}

// referenceSignal is testTones with top Hz, and its length in samples.
func referenceSignal(rate, top float64) []float32 {
	at := testTones(top)
	x := make([]float32, int(0.42*rate))
	for i := range x {
		x[i] = float32(at(float64(i) / rate))
	}
	return x
}

// worstApart returns the largest difference in dB of full scale.
func worstApart(a, b []float32) float64 {
	worst := 0.0
	for i := range min(len(a), len(b)) {
		worst = max(worst, math.Abs(float64(a[i])-float64(b[i])))
	}
	return 20 * math.Log10(worst)
}

// scipyResample reads positions (off + stride·n)/up for all n: SciPy's
// polyphase resampler with a longer and steeper filter than ours, in float64.
const scipyResample = `
import sys, numpy as np
from scipy.signal import resample_poly, firwin
up, down, off = map(int, sys.argv[1:4])
x = np.frombuffer(sys.stdin.buffer.read(), '<f4').astype(float)
m = max(up, down)
h = firwin(2 * 160 * m + 1, (20000 / 22050 + 1) / 2 / m, window=('kaiser', 16))
y = resample_poly(np.concatenate([x, np.zeros(64)]), up, 1 if off else down, window=h)
y = y[off::down] if off else y
y[:len(x) * up // down].astype('<f4').tofile(sys.stdout.buffer)
`

// Reference: SciPy's signal.resample_poly. For a delay SciPy goes to up times
// the rate and every up-th sample from off on is taken.
func TestResampleSciPy(t *testing.T) {
	python := pythonWithSciPy(t)
	for _, tt := range []struct {
		in, top       float64
		up, down, off int
	}{
		{48000, 20000, 10000, 10003, 0}, // +300 ppm
		{48000, 20000, 10000, 9997, 0},  // -300 ppm
		{48000, 20000, 4, 4, 1},         // a quarter of a sample
		{48000, 20000, 10, 10, 7},
		{44100, 20000, 160, 147, 0},
		{22050, 9900, 320, 147, 0},
		{8000, 3600, 6, 1, 0},
		{32000, 14400, 3, 2, 0},
		{88200, 20000, 80, 147, 0},
		{96000, 20000, 1, 2, 0},
		{192000, 20000, 1, 4, 0},
	} {
		x := referenceSignal(tt.in, tt.top)
		want := filterFloats(t, x, python, "-c", scipyResample,
			strconv.Itoa(tt.up), strconv.Itoa(tt.down), strconv.Itoa(tt.off))
		if len(want) < int(0.4*tt.in)*tt.up/tt.down {
			t.Fatalf("SciPy gave %d samples", len(want))
		}
		step := float64(tt.down) / float64(tt.up)
		got := Resample(x, 1, float64(tt.off)/float64(tt.up), step, len(want))
		if db := worstApart(got, want); db > -110 {
			t.Errorf("%g Hz · %d/%d + %d: %.1f dB from SciPy, want at most -110", tt.in, tt.up, tt.down, tt.off, db)
		} else {
			t.Logf("%g Hz · %d/%d + %d: %.1f dB from SciPy", tt.in, tt.up, tt.down, tt.off, db)
		}
	}
}

// Reference: sox 14.4, "rate -v", which carries 32-bit integers. Its own level
// falls by 0.001 dB at 0.86 of Nyquist, so the tones end at 0.75.
func TestResampleSox(t *testing.T) {
	if err := exec.Command("sox", "--version").Run(); err != nil {
		missingReference(t, "sox")
	}
	for _, tt := range []struct{ in, out float64 }{
		{44100, 48000}, {48000, 44100}, {96000, 48000}, {192000, 48000}, {88200, 48000}, {32000, 48000},
		{22050, 48000}, {16000, 48000}, {8000, 48000}, {48000, 48014.4}, {48000, 47985.6},
	} {
		x := referenceSignal(tt.in, 0.75*min(tt.in, tt.out)/2)
		raw := strings.Fields("-t raw -e floating-point -b 32 -L -c 1")
		args := append([]string{"-D", "-V1"}, raw...)
		args = append(args, "-r", fmt.Sprint(tt.in), "-")
		args = append(args, raw...)
		args = append(args, "-", "rate", "-v", fmt.Sprint(tt.out))
		want := filterFloats(t, x, "sox", args...)
		if len(want) < int(0.4*tt.out) {
			t.Fatalf("sox gave %d samples", len(want))
		}
		got := Resample(x, 1, 0, tt.in/tt.out, len(want))
		if db := worstApart(got, want); db > -110 {
			t.Errorf("%g to %g Hz: %.1f dB from sox, want at most -110", tt.in, tt.out, db)
		} else {
			t.Logf("%g to %g Hz: %.1f dB from sox", tt.in, tt.out, db)
		}
	}
}
