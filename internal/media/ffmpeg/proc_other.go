//go:build !unix

package ffmpeg

import "os/exec"

// ownGroup does nothing where there are no process groups.
func ownGroup(*exec.Cmd) {}

// killGroup kills the command.
func killGroup(cmd *exec.Cmd) error { return cmd.Process.Kill() }
