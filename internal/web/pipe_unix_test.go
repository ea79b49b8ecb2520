//go:build !windows

package web

import "syscall"

func makePipe(path string) error { return syscall.Mkfifo(path, 0o666) }
