package mediatest

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
)

// Missing ends a test that checks against a program that is not there: it is
// skipped, and fails where EARSHOT_REFERENCE=1 says that the program must be.
func Missing(t testing.TB, what string) {
	t.Helper()
	if os.Getenv("EARSHOT_REFERENCE") == "1" {
		t.Fatalf("%s is missing, and EARSHOT_REFERENCE=1 says it must be here", what)
	}
	t.Skipf("%s is not installed", what)
}

// apartScript is SciPy's word on by how many frames the second of two sounds
// comes after the first: the whole frames where their cross-correlation is
// largest, and the rest by the slope of the phase between them. (To look for the
// top of the correlation between frames draws to whole frames: that top is broad,
// and interpolation ripples.)
const apartScript = `
import sys, numpy, scipy.signal as s
length, low, high = int(sys.argv[1]), float(sys.argv[2]), float(sys.argv[3])
for x, y in numpy.frombuffer(sys.stdin.buffer.read(), '<f4').astype(float).reshape(-1, 2, length):
    if high:
        band = s.butter(4, [low, high], 'bandpass', fs=48000, output='sos')
        x, y = s.sosfiltfilt(band, x), s.sosfiltfilt(band, y)
    whole = s.correlate(y, x, 'full', 'fft').argmax() - (len(x) - 1)
    f = numpy.fft.rfftfreq(len(x))
    c = numpy.fft.rfft(y) * numpy.fft.rfft(x).conj() * numpy.exp(2j * numpy.pi * f * whole)
    print(whole - (numpy.angle(c) * f * abs(c)).sum() / (2 * numpy.pi * (f * f * abs(c)).sum()))
`

// A Band is what is compared of two sounds at 48 kHz, Hz; the zero value is all.
type Band struct{ Low, High float64 }

// Apart is by how many frames the second of two sounds comes after the first, of
// pairs of one length, as SciPy has it. Without SciPy the test is Missing it.
func Apart(t testing.TB, band Band, pairs ...[2][]float32) (out []float64) {
	t.Helper()
	const python = "/usr/bin/python3"
	if exec.Command(python, "-c", "import scipy").Run() != nil {
		Missing(t, "python3 with scipy")
	}
	var in bytes.Buffer
	for _, p := range pairs {
		for _, x := range p {
			if err := binary.Write(&in, binary.LittleEndian, x); err != nil {
				t.Fatal(err)
			}
		}
	}
	cmd := exec.Command(python, "-c", apartScript, strconv.Itoa(len(pairs[0][0])), fmt.Sprint(band.Low), fmt.Sprint(band.High))
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
