package ffmpeg

import (
	"io/fs"
	"path"
	"path/filepath"
	"strings"
	"sync/atomic"

	exsys "github.com/tetratelabs/wazero/experimental/sys"
	"github.com/tetratelabs/wazero/experimental/sysfs"
	"github.com/tetratelabs/wazero/sys"
)

// mount is where a job's files appear to the engine.
const mount = "/m"

// orderFS shows a job the files of its order and nothing else. When the job is
// cancelled every read and write fails, which makes the engine end by itself.
type orderFS struct {
	exsys.UnimplementedFS
	files  map[string]orderFile
	cancel *atomic.Bool
}

func newOrderFS(files []orderFile, cancel *atomic.Bool) *orderFS {
	o := &orderFS{files: map[string]orderFile{}, cancel: cancel}
	for _, f := range files {
		o.files[f.Name] = f
	}
	return o
}

// find returns the folder and name of the real file behind a name of ours.
func (o *orderFS) find(name string) (dir exsys.FS, base string, f orderFile, errno exsys.Errno) {
	f, ok := o.files[path.Clean(strings.TrimPrefix(name, "/"))]
	if !ok {
		return nil, "", f, exsys.ENOENT
	}
	d, base := filepath.Split(string(f.Path))
	return sysfs.DirFS(d), base, f, 0
}

func isRoot(name string) bool { return name == "" || name == "." || name == "/" }

func (o *orderFS) OpenFile(name string, flag exsys.Oflag, perm fs.FileMode) (exsys.File, exsys.Errno) {
	if isRoot(name) {
		return folder{}, 0
	}
	dir, base, f, errno := o.find(name)
	if errno != 0 {
		return nil, errno
	}
	if !f.Write && flag&(exsys.O_WRONLY|exsys.O_RDWR|exsys.O_CREAT|exsys.O_TRUNC|exsys.O_APPEND) != 0 {
		return nil, exsys.EROFS
	}
	file, errno := dir.OpenFile(base, flag, perm)
	if errno != 0 {
		return nil, errno
	}
	return &orderedFile{file, o.cancel}, 0
}

func (o *orderFS) Stat(name string) (sys.Stat_t, exsys.Errno) {
	if isRoot(name) {
		return folder{}.Stat()
	}
	dir, base, _, errno := o.find(name)
	if errno != 0 {
		return sys.Stat_t{}, errno
	}
	return dir.Stat(base)
}

func (o *orderFS) Lstat(name string) (sys.Stat_t, exsys.Errno) { return o.Stat(name) }

// folder is the mount itself.
type folder struct{ exsys.UnimplementedFile }

func (folder) IsDir() (bool, exsys.Errno) { return true, 0 }
func (folder) Stat() (sys.Stat_t, exsys.Errno) {
	return sys.Stat_t{Mode: fs.ModeDir | 0o755, Nlink: 1}, 0
}

// orderedFile fails once its job is cancelled.
type orderedFile struct {
	exsys.File
	cancel *atomic.Bool
}

func (f *orderedFile) Read(b []byte) (int, exsys.Errno) {
	if f.cancel.Load() {
		return 0, exsys.EIO
	}
	return f.File.Read(b)
}

func (f *orderedFile) Pread(b []byte, off int64) (int, exsys.Errno) {
	if f.cancel.Load() {
		return 0, exsys.EIO
	}
	return f.File.Pread(b, off)
}

func (f *orderedFile) Write(b []byte) (int, exsys.Errno) {
	if f.cancel.Load() {
		return 0, exsys.EIO
	}
	return f.File.Write(b)
}

func (f *orderedFile) Pwrite(b []byte, off int64) (int, exsys.Errno) {
	if f.cancel.Load() {
		return 0, exsys.EIO
	}
	return f.File.Pwrite(b, off)
}
