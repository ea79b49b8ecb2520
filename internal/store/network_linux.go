package store

import "golang.org/x/sys/unix"

// overNetwork tells whether dir may lie on another machine. What is reached
// through a program of the user's (FUSE) may, too.
func overNetwork(dir string) bool {
	var fs unix.Statfs_t
	if unix.Statfs(dir, &fs) != nil {
		return false
	}
	switch uint32(fs.Type) { // see statfs(2)
	case unix.NFS_SUPER_MAGIC, unix.SMB_SUPER_MAGIC, unix.SMB2_SUPER_MAGIC, unix.CIFS_SUPER_MAGIC,
		unix.AFS_SUPER_MAGIC, unix.AFS_FS_MAGIC, unix.CODA_SUPER_MAGIC, unix.NCP_SUPER_MAGIC, unix.V9FS_MAGIC,
		unix.CEPH_SUPER_MAGIC, unix.OCFS2_SUPER_MAGIC, unix.FUSE_SUPER_MAGIC:
		return true
	}
	return false
}
