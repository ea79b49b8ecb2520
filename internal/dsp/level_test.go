package dsp

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"os/exec"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// Closed forms: a sine over whole periods has RMS amp/√2, a square wave amp.
func TestLevel(t *testing.T) {
	square := []float32{0.5, -0.5, 0.5, -0.5}
	for _, tt := range []struct {
		name      string
		x         []float32
		rms, peak float64 // dBFS
	}{
		{"full-scale sine", tone(48000, 1000, 48000, 1, 0), -3.0103, 0},
		{"sine at -20", tone(48000, 997, 48000, 0.1, 0), -23.0103, -20},
		{"square", square, -6.0206, -6.0206},
		{"silence", make([]float32, 10), math.Inf(-1), math.Inf(-1)},
		{"nothing", nil, math.Inf(-1), math.Inf(-1)},
	} {
		rms, peak := Decibels(RMS(tt.x)), Decibels(Peak(tt.x))
		if !(rms == tt.rms || math.Abs(rms-tt.rms) < 1e-4) || !(peak == tt.peak || math.Abs(peak-tt.peak) < 1e-3) {
			t.Errorf("%s: RMS %.4f peak %.4f dBFS, want %.4f and %.4f", tt.name, rms, peak, tt.rms, tt.peak)
		}
	}
	var l Level
	l.Write(square[:1])
	l.Write(square[1:])
	if l.RMS() != 0.5 || l.Samples() != 4 {
		t.Errorf("in pieces: RMS %g of %d samples", l.RMS(), l.Samples())
	}
	if got := Peak([]float32{float32(math.NaN()), float32(math.Inf(1)), -0.25}); got != 0.25 {
		t.Errorf("peak beside broken samples is %g, want 0.25", got)
	}
}

// Distance law of a point source: twice as far -6.02 dB, 3 times -9.54, 4
// times -12.04, 10 times -20.00.
func TestDecibels(t *testing.T) {
	for times, db := range map[float64]float64{2: -6.02, 3: -9.54, 4: -12.04, 10: -20, -10: -20} {
		if got := Decibels(1 / times); math.Abs(got-db) > 0.005 {
			t.Errorf("1/%g is %.3f dB, want %.2f", times, got, db)
		}
		if got := Gain(Decibels(times)); math.Abs(got-math.Abs(times)) > 1e-12 {
			t.Errorf("%g there and back is %g", times, got)
		}
	}
	if Gain(math.Inf(-1)) != 0 || Gain(0) != 1 {
		t.Error("no gain, or all of it")
	}
}

// Reference: sox stats, which prints two decimals.
func TestLevelSox(t *testing.T) {
	if err := exec.Command("sox", "--version").Run(); err != nil {
		missingReference(t, "sox")
	}
	rng := rand.New(rand.NewPCG(5, 5))
	x := make([]float32, 48000)
	for i := range x {
		x[i] = float32(math.Tanh(rng.NormFloat64()) / 4)
	}
	var in, report bytes.Buffer
	if err := binary.Write(&in, binary.LittleEndian, x); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("sox", strings.Fields("-t raw -e floating-point -b 32 -L -c 1 -r 48000 - -n stats")...)
	cmd.Stdin, cmd.Stderr = &in, &report
	if err := cmd.Run(); err != nil {
		t.Fatalf("sox: %v\n%s", err, report.Bytes())
	}
	for line, got := range map[string]float64{`RMS lev dB`: Decibels(RMS(x)), `Pk lev dB`: Decibels(Peak(x))} {
		m := regexp.MustCompile(line + ` +(-?[0-9.]+)`).FindSubmatch(report.Bytes())
		if m == nil {
			t.Fatalf("sox does not tell %q:\n%s", line, report.Bytes())
		}
		want, err := strconv.ParseFloat(string(m[1]), 64)
		if err != nil || math.Abs(got-want) > 0.0051 {
			t.Errorf("%s: %.4f, sox says %s", line, got, m[1])
		}
	}
}
