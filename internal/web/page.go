package web

import (
	"io/fs"
	"net/http"
	"os"
	"path"
	"strings"

	"earshot/internal/fault"
	"earshot/internal/web/page"
)

// pageKinds are the media types of the page's files; others are not served.
var pageKinds = map[string]string{
	".html": "text/html; charset=utf-8",
	".css":  "text/css; charset=utf-8",
	".js":   "text/javascript; charset=utf-8",
	".svg":  "image/svg+xml",
}

// pages are the page's files, in the program or in a folder.
type pages struct {
	files fs.FS
}

// openPages opens a folder of page files, or with "" those in the program. A
// link in the folder that leads out of it is not followed.
func openPages(dir string) (*pages, error) {
	if dir == "" {
		return &pages{page.Files}, nil
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, &fault.Error{Kind: fault.Unreadable, Op: "read the page's folder", Subject: dir, Err: fault.Cause(err)}
	}
	return &pages{root.FS()}, nil
}

// serve answers with a file of the page; "/" is index.html.
func (p *pages) serve(w http.ResponseWriter, r *http.Request) error {
	none := &refusal{status: http.StatusNotFound, text: "there is no such page"}
	name := strings.TrimPrefix(r.URL.Path, "/")
	if name == "" {
		name = "index.html"
	}
	kind := pageKinds[path.Ext(name)]
	if kind == "" || !fs.ValidPath(name) || strings.ContainsAny(name, "\\:\x00") ||
		strings.HasPrefix(name, "test/") || strings.Contains("/"+name, "/.") {
		return none
	}
	if info, err := fs.Stat(p.files, name); err != nil || !info.Mode().IsRegular() {
		return none
	}
	b, err := fs.ReadFile(p.files, name)
	if err != nil {
		return none
	}
	return derived(w, r, kind, b)
}
