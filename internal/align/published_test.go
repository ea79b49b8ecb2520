package align

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"earshot/internal/dsp"
	"earshot/internal/scene"
)

// readWAV reads the 16-bit mono files of testdata.
func readWAV(t *testing.T, path string) Samples {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	b = b[44:]
	out := make(Samples, len(b)/2)
	for i := range out {
		out[i] = float32(int16(binary.LittleEndian.Uint16(b[2*i:]))) / 32768
	}
	return out
}

// sciPy runs a script of testdata; without SciPy the test is skipped, except
// where references must be there.
func sciPy(t *testing.T, args ...string) float64 {
	t.Helper()
	for _, python := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(python, "-c", "import scipy").Run() != nil {
			continue
		}
		out, err := exec.Command(python, args...).Output()
		if err != nil {
			t.Fatalf("%s %v: %v", python, args, err)
		}
		v, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	if os.Getenv("EARSHOT_REFERENCE") != "" {
		t.Fatal("python3 with SciPy is not installed")
	}
	t.Skip("python3 with SciPy is not installed")
	return 0
}

// A real meeting, close and distant microphones (AMI Meeting Corpus, CC BY
// 4.0). There is no independent truth: we hold ours against SciPy's
// generalised cross-correlation of the same files, and both headsets' paths
// against what a meeting table allows.
func TestRealMeetingAgainstSciPy(t *testing.T) {
	distant := readWAV(t, "testdata/ami2_distant.wav")
	for _, headset := range []string{"A", "B"} {
		t.Run("headset "+headset, func(t *testing.T) {
			file := "testdata/ami2_headset" + headset + ".wav"
			f, err := Find(distant, readWAV(t, file), Guess{At: 4, Sound: 4.01})
			if err != nil || f == nil {
				t.Fatalf("Find = %v, %v", f, err)
			}
			ours := -(f.Sound(f.Mid) - f.Mid) * 1e3 // how much later the distant microphone hears it
			theirs := sciPy(t, "testdata/gcc.py", file, "testdata/ami2_distant.wav")
			t.Logf("distant later by %.3f ms, SciPy %.3f ms, strength %.1f, rest %.1f", ours, theirs, f.Strength, f.Rest)
			if math.Abs(ours-theirs) > 0.1 {
				t.Errorf("the distant microphone is later by %.3f ms, SciPy says %.3f", ours, theirs)
			}
			if ours < 0.5 || ours > 6 {
				t.Errorf("%.3f ms is %.2f m of air, no way across a meeting table", ours, ours*0.343)
			}
		})
	}
}

// The Cramér-Rao bound for two noisy copies of one band-limited noise (Knapp &
// Carter 1976; Quazi 1981), scene.DelayBound. Errors over seeded runs must lie at or above it, or the answer leaked, and
// within about twice of it where noise rules. 15 % is allowed for chance.
func TestErrorsAgainstTheBound(t *testing.T) {
	const f1, f2, length, runs = 300.0, 3400.0, 10.0, 40
	for _, snr := range []float64{0, -6} {
		noise := scene.Copies{Low: f1, High: f2, Length: length, SNR: snr}
		bound := noise.Bound()
		var sum float64
		for run := range uint64(runs) {
			rng := rand.New(rand.NewPCG(run, uint64(100-snr)))
			delay := rng.Float64()*4 - 2 // samples
			x, y := noise.Make(rng, dsp.ProxyRate, delay)
			f, err := Find(Samples(x), Samples(y), Guess{At: length / 2, Sound: length / 2})
			if err != nil || f == nil {
				t.Fatalf("run %d: Find = %v, %v", run, f, err)
			}
			known := f.WithDrift(0, 0) // the bound is for one clock
			e := known.Sound(known.Mid) - known.Mid - delay/dsp.ProxyRate
			if math.Abs(e) > 6*bound {
				t.Logf("run %d: off by %.1f µs", run, e*1e6)
			}
			sum += e * e
		}
		got := math.Sqrt(sum / runs)
		t.Logf("SNR %+.0f dB: spread %.2f µs, bound %.2f µs, ratio %.2f", snr, got*1e6, bound*1e6, got/bound)
		if got < 0.85*bound {
			t.Errorf("SNR %+.0f dB: spread %.2f µs under the bound of %.2f µs: the answer leaks", snr, got*1e6, bound*1e6)
		}
		if got > 2.3*bound {
			t.Errorf("SNR %+.0f dB: spread %.2f µs, over 2.3 times the bound of %.2f µs", snr, got*1e6, bound*1e6)
		}
	}
}
