//go:build !windows

package app

import (
	"errors"
	"syscall"
)

// running tells whether a process of that number runs.
func running(pid int) bool {
	err := syscall.Kill(pid, 0)
	return err == nil || errors.Is(err, syscall.EPERM)
}
