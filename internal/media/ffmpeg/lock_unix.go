//go:build unix

package ffmpeg

import (
	"os"
	"syscall"
)

// lock waits until this process alone holds the file path. The system frees
// it when the process ends, however it ends.
func lock(path string) (unlock func(), err error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	for {
		err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX)
		if err != syscall.EINTR {
			break
		}
	}
	if err != nil && err != syscall.ENOLCK && err != syscall.ENOTSUP {
		f.Close()
		return nil, err
	}
	return func() { f.Close() }, nil
}
