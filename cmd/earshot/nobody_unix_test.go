//go:build unix

package main

import (
	"os/exec"
	"syscall"
)

// asNobody makes a command run as a user who owns nothing.
func asNobody(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
}
