package store

import (
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"

	"earshot/internal/fault"
)

// asNobody runs fn without the rights that root has on files. The system calls
// of one goroutine that stays on its thread are enough; see setfsuid(2).
func asNobody(t *testing.T, fn func()) {
	t.Helper()
	if os.Geteuid() == 0 {
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		must(t, syscall.Setfsuid(65534))
		defer func() { must(t, syscall.Setfsuid(0)) }()
	}
	fn()
}

// Where the folder or the file may only be read, that is said at once, and
// nothing is changed.
func TestReadOnly(t *testing.T) {
	made := func(t *testing.T, say bool) (dir string) {
		dir = t.TempDir()
		must(t, os.Chmod(filepath.Dir(dir), 0o755))
		if say {
			s := open(t, dir)
			must(t, act(s, 8))
			must(t, s.Close())
		}
		return dir
	}
	for _, tt := range []struct {
		name         string
		shoot        bool
		folder, file os.FileMode
		in           string
	}{
		{"folder without a shoot", false, 0o555, 0, ""},
		{"a folder in it", false, 0o555, 0, "new/newer"},
		{"folder with a shoot", true, 0o555, 0o666, ""},
		{"file", true, 0o777, 0o444, ""},
		{"both", true, 0o555, 0o444, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir := made(t, tt.shoot)
			path := filepath.Join(dir, shootFile)
			var before []byte
			if tt.shoot {
				var err error
				before, err = os.ReadFile(path)
				must(t, err)
				must(t, os.Chmod(path, tt.file))
			}
			must(t, os.Chmod(dir, tt.folder))
			defer os.Chmod(dir, 0o755)
			asNobody(t, func() {
				s, err := OpenShoot(filepath.Join(dir, tt.in))
				if err == nil {
					s.Close()
					t.Fatal("opened")
				}
				t.Log(err)
				if fault.KindOf(err) != fault.Unwritable || !strings.Contains(fault.HintOf(err), "may be written to") {
					t.Errorf("got %v (kind %v, hint %q)", err, fault.KindOf(err), fault.HintOf(err))
				}
			})
			if tt.shoot {
				if now, err := os.ReadFile(path); err != nil || string(now) != string(before) {
					t.Errorf("the file was changed; %v", err)
				}
			} else if HasShoot(dir) {
				t.Error("a file was made")
			}
		})
	}
}

// overNetwork goes by numbers that the kernel gives each kind of file system;
// the kernel's own table of what is mounted says their names.
func TestOverNetwork(t *testing.T) {
	table, err := os.ReadFile("/proc/mounts")
	if err != nil {
		t.Skip(err)
	}
	mounted := strings.Split(strings.TrimSpace(string(table)), "\n")
	far := []string{"nfs", "nfs4", "smbfs", "smb3", "cifs", "afs", "coda", "ncpfs", "9p", "ceph", "ocfs2", "fuse", "fuseblk"}
	kinds := map[string]string{} // what is mounted last at a place hides what is under it
	for _, line := range mounted {
		f := strings.Fields(line) // see proc(5): device, place, kind
		kind, _, _ := strings.Cut(f[2], ".")
		kinds[f[1]] = kind
	}
	var looked int
	for place, kind := range kinds {
		if strings.Contains(place, `\`) || kind == "autofs" {
			continue
		}
		var fs syscall.Statfs_t
		if syscall.Statfs(place, &fs) != nil {
			continue
		}
		looked++
		if got, want := overNetwork(place), slices.Contains(far, kind); got != want {
			t.Errorf("overNetwork(%q) = %v, and it is %s", place, got, kind)
		}
	}
	if looked == 0 {
		t.Skip("nothing mounted can be looked at")
	}
	if overNetwork("/nowhere at all") {
		t.Error("a folder that is not there lies on another machine")
	}
}
