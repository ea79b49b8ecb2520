package web

import (
	"encoding/json"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"earshot/internal/fault"
)

// A second start finds the first, over whatever way to the folder, adds to it
// and gets an address for a browser; when the first ends nothing is left.
func TestBeacon(t *testing.T) {
	cache, folder := t.TempDir(), t.TempDir()
	s := lessonState()
	s.Shoot.Folder = folder
	rg := newRigOf(t, Options{CacheDir: cache, Version: "1.2.3"}, func(f *fakeDesk) { f.state = &s })
	way := filepath.Join(t.TempDir(), "way")
	if err := os.Symlink(folder, way); err != nil {
		way = folder
	}
	files, err := filepath.Glob(filepath.Join(cache, "desks", "*"))
	if err != nil || len(files) != 1 {
		t.Fatalf("beacons %q, %v", files, err)
	}
	if info, err := os.Stat(files[0]); err != nil || runtime.GOOS != "windows" && info.Mode() != 0o600 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
	for _, path := range []string{folder, way, folder + string(filepath.Separator)} {
		other, ok := Find(t.Context(), cache, path)
		if !ok || other.URL() != rg.server.URL() || other.Hello.Earshot != "1.2.3" {
			t.Fatalf("%s: %v %+v", path, ok, other)
		}
		if err := other.Add(t.Context(), []string{path}); err != nil {
			t.Error(err)
		}
		if calls := rg.fake.called(); calls[len(calls)-1] != `Add ["`+path+`"] []` {
			t.Errorf("asked %q", calls)
		}
		url, err := other.Invite(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if resp, err := http.Get(url); err != nil || resp.StatusCode != 200 {
			t.Errorf("the invitation: %v, %v", resp, err)
		} else {
			resp.Body.Close()
		}
		http.DefaultClient.CloseIdleConnections()
	}
	other, _ := Find(t.Context(), cache, folder)
	if err := other.Add(t.Context(), []string{"relative"}); err == nil || !strings.Contains(err.Error(), "does not begin at the top") {
		t.Errorf("a path the desk refuses: %v", err)
	}
	if _, ok := Find(t.Context(), cache, t.TempDir()); ok {
		t.Error("found for another folder")
	}
	rg.stop()
	rg.wait()
	if left, _ := filepath.Glob(filepath.Join(cache, "desks", "*")); len(left) != 0 {
		t.Errorf("left: %q", left)
	}
	if _, ok := Find(t.Context(), cache, folder); ok {
		t.Error("found though it has ended")
	}
	if err := other.Add(t.Context(), []string{folder}); fault.HintOf(err) == "" {
		t.Errorf("adding to one that has ended: %v", err)
	}
}

// A beacon that nobody answers for, or the wrong one, is removed; it sends
// nobody anywhere else.
func TestStaleBeacons(t *testing.T) {
	cache, folder := t.TempDir(), t.TempDir()
	var visits []string
	stranger := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		visits = append(visits, r.URL.String())
		http.Redirect(w, r, "/elsewhere", http.StatusFound)
	}))
	defer stranger.Close()
	closed, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	nobody := "http://" + closed.Addr().String()
	closed.Close()
	word := "/enter?t=" + strings.Repeat("ab", 32)
	elsewhere := lessonState()
	elsewhere.Shoot.Folder = t.TempDir()
	other := newRigOf(t, Options{}, func(f *fakeDesk) { f.state = &elsewhere })
	beacon := func(url string) string {
		b, err := json.Marshal(Beacon{URL: url, PID: 1, Folder: realFolder(folder)})
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	for name, text := range map[string]string{
		"empty": "", "no JSON": "{", "list": "[1]", "nobody there": beacon(nobody + word), "a stranger": beacon(stranger.URL + word),
		"other folder":  beacon(other.server.URL()),
		"foreign host":  beacon("http://evil.example:80" + word),
		"name in front": beacon("http://127.0.0.1:80@evil.example" + word),
		"no token":      beacon(nobody + "/enter"),
		"long":          beacon(other.server.URL()) + strings.Repeat(" ", 1<<20),
		"of others":     strings.Replace(beacon(nobody+word), "folder\":\"", "folder\":\"x", 1),
	} {
		path := beaconFile(cache, folder)
		if err := writeBeacon(path, []byte(text)); err != nil {
			t.Fatal(err)
		}
		if found, ok := Find(t.Context(), cache, folder); ok {
			t.Errorf("%s: found %+v", name, found)
		}
		if _, err := os.Stat(path); !os.IsNotExist(err) {
			t.Errorf("%s: still there, %v", name, err)
		}
	}
	if !slices.Equal(visits, []string{"/api/hello"}) {
		t.Errorf("the stranger was asked %q", visits)
	}
	if _, ok := Find(t.Context(), "", folder); ok {
		t.Error("found without a cache")
	}
}

// A server keeps another's beacon when it ends, and goes on without one where
// none can be written.
func TestBeaconsOfOthers(t *testing.T) {
	cache, folder := t.TempDir(), t.TempDir()
	s := lessonState()
	s.Shoot.Folder = folder
	rg := newRigOf(t, Options{CacheDir: cache}, func(f *fakeDesk) { f.state = &s })
	path := beaconFile(cache, folder)
	if err := writeBeacon(path, []byte("{}")); err != nil {
		t.Fatal(err)
	}
	rg.stop()
	rg.wait()
	if b, err := os.ReadFile(path); err != nil || string(b) != "{}" {
		t.Errorf("%q, %v", b, err)
	}
	blocked := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(blocked, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	rg = newRigOf(t, Options{CacheDir: blocked}, func(f *fakeDesk) { f.state = &s })
	if status, _, _ := rg.do("GET", "/api/state", "", nil); status != 200 || !strings.Contains(rg.remarks.String(), "a second start") {
		t.Errorf("%d, remarks %s", status, rg.remarks)
	}
}
