package main

import (
	"bytes"
	"errors"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"
)

// The first Ctrl-C ends with status 130 and leaves nothing half-written.
func TestInterrupt(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("Windows has no signal that a test can send")
	}
	dir := t.TempDir()
	cache, day, out := filepath.Join(dir, "cache"), filepath.Join(dir, "day"), filepath.Join(dir, "out")
	r := recording{early: 2, drift: 20, seconds: 120, late: math.NaN()}
	if err := r.write(cache, filepath.Join(day, "A001.mov"), filepath.Join(day, "anna.wav")); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("earshot", "marry", day, "--to", out, "--cache", cache)
	said, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	first := make([]byte, 1)
	if _, err := io.ReadFull(said, first); err != nil {
		t.Fatalf("ended before it said anything: %v", cmd.Wait())
	}
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	rest, _ := io.ReadAll(said)
	err = cmd.Wait()
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != 130 {
		t.Fatalf("ended with %v, want exit status 130; it said %s%s", err, first, rest)
	}
	if !bytes.Contains(rest, []byte("stopped")) {
		t.Errorf("it said %s%s", first, rest)
	}
	left, _ := os.ReadDir(out)
	for _, entry := range left {
		t.Errorf("%s is left behind", entry.Name())
	}
}
