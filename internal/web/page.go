package web

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io/fs"
	"net/http"
	"os"
	"path"
	"strings"
	"sync"

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
	kept  sync.Map // packing by name
}

// openPages opens a folder of page files, or with "" those in the program. A
// link in the folder that leads out of it is not followed.
func openPages(dir string) (*pages, error) {
	if dir == "" {
		return &pages{files: page.Files}, nil
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, &fault.Error{Kind: fault.Unreadable, Op: "read the page's folder", Subject: dir, Err: fault.Cause(err)}
	}
	return &pages{files: root.FS()}, nil
}

// serve answers with a file of the page; "/" is index.html. Some browsers ask
// for favicon.ico before they read which icon the page names.
func (p *pages) serve(w http.ResponseWriter, r *http.Request) error {
	none := &refusal{status: http.StatusNotFound, text: "there is no such page"}
	name := strings.TrimPrefix(r.URL.Path, "/")
	switch name {
	case "":
		name = "index.html"
	case "favicon.ico": // asked for by a browser that has not read the page yet
		name = "icon.svg"
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
	w.Header().Set("Vary", "Accept-Encoding")
	if takesGzip(r) {
		w.Header().Set("Content-Encoding", "gzip")
		b = p.packed(name, b)
	}
	return derived(w, r, kind, b)
}

// takesGzip tells whether whoever asks says that they take gzip. That quality
// values other than nought are all the same is all that is known of them here.
func takesGzip(r *http.Request) bool {
	for _, given := range strings.Split(r.Header.Get("Accept-Encoding"), ",") {
		name, quality, _ := strings.Cut(strings.TrimSpace(given), ";")
		if strings.TrimSpace(name) == "gzip" {
			q := strings.TrimPrefix(strings.ReplaceAll(quality, " ", ""), "q=")
			return strings.Trim(q, "0.") != "" || q == ""
		}
	}
	return false
}

// packed is a file compressed, which is done once for each content.
func (p *pages) packed(name string, b []byte) []byte {
	if was, ok := p.kept.Load(name); ok && bytes.Equal(was.(packing).plain, b) {
		return was.(packing).packed
	}
	var out bytes.Buffer
	w, _ := gzip.NewWriterLevel(&out, gzip.BestCompression) // the level is a known one
	_, err := w.Write(b)
	if err = errors.Join(err, w.Close()); err != nil {
		panic(err) // memory does not fail to be written
	}
	p.kept.Store(name, packing{b, out.Bytes()})
	return out.Bytes()
}

// A packing is a content and the same compressed.
type packing struct{ plain, packed []byte }
