package ffmpeg

import (
	"os"

	"golang.org/x/sys/windows"
)

// lock waits until this process alone holds the file path. The system frees
// it when the process ends, however it ends.
func lock(path string) (unlock func(), err error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	err = windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK, 0, 1, 0, new(windows.Overlapped))
	if err != nil {
		f.Close()
		return nil, err
	}
	return func() { f.Close() }, nil
}
