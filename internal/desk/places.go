package desk

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"earshot/internal/app"
	"earshot/internal/fault"
)

// Places are where a person may look for recordings: their home, and what is
// mounted.
func (d *Desk) Places(context.Context) (*Places, error) {
	out := &Places{Places: []Place{}}
	if home, err := os.UserHomeDir(); err == nil {
		out.Places = append(out.Places, Place{Name: "Home", Path: home, Kind: "home"})
	}
	for _, path := range drives() {
		out.Places = append(out.Places, Place{Name: driveName(path), Path: path, Kind: "drive"})
	}
	return out, nil
}

// drives lists cards and disks: those the system shows a person as such.
func drives() (out []string) {
	var patterns []string
	switch runtime.GOOS {
	case "windows":
		for c := 'A'; c <= 'Z'; c++ {
			patterns = append(patterns, string(c)+`:\`)
		}
	case "darwin":
		patterns = []string{"/Volumes/*"}
	default: // the Filesystem Hierarchy Standard's /media and /mnt, and where udisks mounts
		patterns = []string{"/media/*/*", "/run/media/*/*", "/media/*", "/mnt", "/mnt/*"}
	}
	for _, p := range patterns {
		found, _ := filepath.Glob(p)
		for _, path := range found {
			if info, err := os.Stat(path); err == nil && info.IsDir() && !slices.Contains(out, path) {
				out = append(out, path)
			}
		}
	}
	return out
}

func driveName(path string) string {
	if name := filepath.Base(path); name != string(filepath.Separator) && name != "." {
		return name
	}
	return path
}

// Folder is what a folder holds. Only what lies in a place, links followed, is
// told.
func (d *Desk) Folder(ctx context.Context, path string) (*Folder, error) {
	refuse := func(err error, hint string) error {
		return &fault.Error{Kind: fault.Unreadable, Op: "look into", Subject: path, Err: fault.Cause(err), Hint: hint}
	}
	if path == "" || !filepath.IsAbs(path) || strings.ContainsRune(path, 0) {
		return nil, refuse(errors.New("that is no folder's full name"), "begin at one of the places")
	}
	real, err := filepath.EvalSymlinks(filepath.Clean(path))
	if err != nil {
		return nil, refuse(errors.New("it cannot be looked into"), "check that the card or disk is still there")
	}
	places, err := d.Places(ctx)
	if err != nil {
		return nil, err
	}
	root, ok := placeOf(places.Places, real)
	if !ok {
		return nil, refuse(errors.New("it lies outside this machine's places"), "begin at one of the places")
	}
	entries, err := os.ReadDir(real)
	if err != nil {
		return nil, refuse(err, "check that you may read it")
	}
	out := &Folder{Path: real, Folders: []Inside{}, Recordings: []InsideRec{}}
	if real != root {
		out.Up = filepath.Dir(real)
	}
	for _, e := range entries {
		full := filepath.Join(real, e.Name())
		switch {
		case strings.HasPrefix(e.Name(), "."):
		case e.IsDir():
			out.Folders = append(out.Folders, Inside{Name: e.Name(), Path: full, Recordings: app.CountRecordings(full)})
		case e.Type().IsRegular() && app.LooksLikeRecording(e.Name()):
			if info, err := e.Info(); err == nil {
				out.Recordings = append(out.Recordings, InsideRec{Name: e.Name(), Path: full, Bytes: info.Size()})
			}
		}
	}
	return out, nil
}

// placeOf is the place that a folder lies in, by its real path: the innermost.
func placeOf(places []Place, real string) (string, bool) {
	best := ""
	for _, p := range places {
		root, err := filepath.EvalSymlinks(p.Path)
		if err != nil {
			continue
		}
		rel, err := filepath.Rel(root, real)
		if err == nil && filepath.IsLocal(rel) && len(root) > len(best) {
			best = root
		}
	}
	return best, best != ""
}
