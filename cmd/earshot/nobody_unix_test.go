//go:build unix

package main

import (
	"os/exec"
	"syscall"
	"testing"
)

// A pipe nobody writes to is never waited for.
func TestPipeAmongTheFiles(t *testing.T) {
	s := newShoot(t)
	if err := syscall.Mkfifo(s.path("day/pipe.mov"), 0o644); err != nil {
		t.Skip("no pipe with a name can be made here: ", err)
	}
	s.want(s.run("pair", "day"), 0, "1 take: 1 sure")
	s.want(s.run("pair", "day/pipe.mov", "day"), 1, "pipe.mov", "neither a file nor a folder", "1 take: 1 sure")
	s.want(s.run("prove", "day/pipe.mov"), 1, "pipe.mov")
}

// asNobody makes a command run as a user who owns nothing.
func asNobody(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
}
