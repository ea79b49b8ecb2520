//go:build unix

package main

import (
	"syscall"
	"testing"
)

// hold stops the program in the midst of what it does, until it is let go on: a
// page goes on showing what it was told last.
func (d *deskRun) hold(t *testing.T) (letGo func()) {
	t.Helper()
	if err := d.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	return func() {
		if err := d.cmd.Process.Signal(syscall.SIGCONT); err != nil {
			t.Fatal(err)
		}
	}
}
