package store

import "golang.org/x/sys/unix"

// overNetwork tells whether dir may lie on another machine.
func overNetwork(dir string) bool {
	var fs unix.Statfs_t
	return unix.Statfs(dir, &fs) == nil && fs.Flags&unix.MNT_LOCAL == 0
}
