package store

import (
	"path/filepath"

	"golang.org/x/sys/windows"
)

// overNetwork tells whether dir may lie on another machine: on a drive that
// stands for a share, or under a share's own name.
func overNetwork(dir string) bool {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return false
	}
	root, err := windows.UTF16PtrFromString(filepath.VolumeName(abs) + `\`)
	return err == nil && windows.GetDriveType(root) == windows.DRIVE_REMOTE
}
