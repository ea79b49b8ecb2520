package web

import (
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"testing"

	"earshot/internal/web/page"
)

// Every file of the page that a browser can be given is in the program, and
// nothing else is.
func TestThePageIsInTheProgram(t *testing.T) {
	here, err := os.ReadDir("page")
	if err != nil {
		t.Fatal(err)
	}
	rg := newRig(t, Options{})
	for _, e := range here {
		kind := pageKinds[path.Ext(e.Name())]
		_, err := fs.Stat(page.Files, e.Name())
		if in := err == nil; in != (kind != "") {
			t.Errorf("%s is in the program: %v", e.Name(), in)
		}
		status, h, body := rg.do("GET", "/"+e.Name(), "", nil)
		if kind == "" {
			if status != 404 {
				t.Errorf("%s: %d", e.Name(), status)
			}
			continue
		}
		want, err := os.ReadFile(filepath.Join("page", e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		if status != 200 || h.Get("Content-Type") != kind || body != string(want) {
			t.Errorf("%s: %d %s, %d bytes", e.Name(), status, h.Get("Content-Type"), len(body))
		}
	}
	_, _, top := rg.do("GET", "/", "", nil)
	if _, _, index := rg.do("GET", "/index.html", "", nil); top != index || top == "" {
		t.Error("/ is not index.html")
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
