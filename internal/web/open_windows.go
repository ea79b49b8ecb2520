package web

import (
	"os/exec"
	"syscall"
)

// apart gives a program a process group of its own, which Ctrl-C in the
// terminal does not reach.
func apart(c *exec.Cmd) {
	c.SysProcAttr = &syscall.SysProcAttr{CreationFlags: syscall.CREATE_NEW_PROCESS_GROUP}
}
