//go:build unix

package ffmpeg

import (
	"os/exec"
	"syscall"
)

// ownGroup puts the command into a process group of its own.
func ownGroup(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	dieWithUs(cmd)
}

// killGroup kills the command and whatever it started.
func killGroup(cmd *exec.Cmd) error {
	return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL)
}
