package web

import (
	"bytes"
	"compress/gzip"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"earshot/internal/web/page"
)

// Every file of the page that a browser can be given is in the program, and
// nothing else is: no tests, and nothing of what checks it.
func TestThePageIsInTheProgram(t *testing.T) {
	rg := newRig(t, Options{})
	shipped := 0
	err := fs.WalkDir(os.DirFS("page"), ".", func(name string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		_, none := fs.Stat(page.Files, name)
		if e.IsDir() {
			if name != "test" && name != "node_modules" {
				return nil
			}
			if none == nil {
				t.Errorf("the folder %s is in the program", name)
			}
			return fs.SkipDir
		}
		kind := pageKinds[path.Ext(name)]
		if in := none == nil; in != (kind != "") {
			t.Errorf("%s is in the program: %v", name, in)
		}
		status, h, body := rg.do("GET", "/"+name, "", nil)
		if kind == "" {
			if status != 404 {
				t.Errorf("%s: %d", name, status)
			}
			return nil
		}
		shipped++
		want, err := os.ReadFile(filepath.Join("page", filepath.FromSlash(name)))
		if status != 200 || h.Get("Content-Type") != kind || body != string(want) {
			t.Errorf("%s: %d %s, %d bytes", name, status, h.Get("Content-Type"), len(body))
		}
		return err
	})
	if err != nil || shipped < 40 {
		t.Fatal(shipped, err)
	}
	for _, name := range []string{"test/wall.test.js", "node_modules/axe-core/axe.min.js"} {
		if status, _, _ := rg.do("GET", "/"+name, "", nil); status != 404 {
			t.Errorf("%s: %d", name, status)
		}
	}
	_, _, top := rg.do("GET", "/", "", nil)
	if _, _, index := rg.do("GET", "/index.html", "", nil); top != index || top == "" {
		t.Error("/ is not index.html")
	}
	_, h, icon := rg.do("GET", "/favicon.ico", "", nil)
	if _, _, named := rg.do("GET", "/icon.svg", "", nil); icon != named || icon == "" || h.Get("Content-Type") != pageKinds[".svg"] {
		t.Errorf("the icon that browsers ask for is %q, a %s", icon, h.Get("Content-Type"))
	}
}

// While it is worked on, the page is read anew each time.
func TestPageFromAFolder(t *testing.T) {
	dir := t.TempDir()
	rg := newRig(t, Options{PageDir: dir})
	for _, text := range []string{"<p>one", "<p>two"} {
		if err := os.WriteFile(filepath.Join(dir, "index.html"), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		if status, _, body := rg.do("GET", "/", "", nil); status != 200 || body != text {
			t.Errorf("%d %s, want %s", status, body, text)
		}
	}
}

// Whoever takes gzip gets the same files smaller, all scripts together within
// what the page may weigh.
func TestThePageIsLight(t *testing.T) {
	rg := newRig(t, Options{})
	var names []string
	err := fs.WalkDir(page.Files, ".", func(name string, _ fs.DirEntry, err error) error {
		if path.Ext(name) == ".js" {
			names = append(names, name)
		}
		return err
	})
	if err != nil || !slices.Contains(names, "main.js") || !slices.Contains(names, "wall/wall.js") {
		t.Fatal(names, err)
	}
	const most = 150_000 // bytes of script
	sum := 0
	for _, name := range names {
		_, h, body := rg.do("GET", "/"+name, "", map[string]string{"Accept-Encoding": "br, gzip;q=0.8"})
		sum += len(body)
		r, err := gzip.NewReader(strings.NewReader(body))
		if err != nil || h.Get("Content-Encoding") != "gzip" || h.Get("Vary") != "Accept-Encoding" {
			t.Fatalf("%s: %v %v", name, err, h)
		}
		got, err := io.ReadAll(r)
		want, _ := fs.ReadFile(page.Files, name)
		if err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s comes out as %d bytes, want %d: %v", name, len(got), len(want), err)
		}
		if _, h, body := rg.do("GET", "/"+name, "", map[string]string{"Accept-Encoding": "gzip;q=0, identity"}); body != string(want) || h.Get("Content-Encoding") != "" {
			t.Errorf("%s is compressed for somebody who does not take it", name)
		}
	}
	if t.Logf("%d bytes of script as sent", sum); sum > most {
		t.Errorf("%d bytes of script are sent, at most %d are to be", sum, most)
	}
}

// Whoever asks for an icon by the name of old is given the page's.
func TestIconOfOld(t *testing.T) {
	want, err := fs.ReadFile(page.Files, "icon.svg")
	if err != nil {
		t.Fatal(err)
	}
	status, h, body := newRig(t, Options{}).do("GET", "/favicon.ico", "", nil)
	if status != 200 || h.Get("Content-Type") != pageKinds[".svg"] || string(body) != string(want) {
		t.Errorf("%d %s, %d bytes", status, h.Get("Content-Type"), len(body))
	}
}
