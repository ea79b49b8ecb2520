package app

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"earshot/internal/fault"
)

// mediaEndings are the names' endings that a folder is searched for. A file
// named on its own is always looked into, whatever its ending.
var mediaEndings = map[string]bool{}

func init() {
	for _, e := range strings.Fields("mp4 mov m4v mkv webm avi mts m2ts ts 3gp 3g2 mpg mpeg mxf wmv " +
		"wav wave bwf rf64 w64 m4a aac mp3 mp2 flac ogg oga opus aif aiff aifc caf amr wma ac3 mka") {
		mediaEndings["."+e] = true
	}
}

// A gathered list is the files to look into, each once.
type gathered struct {
	files []string
	notes []string
	bad   []badPath
}

type badPath struct {
	path string
	err  error
}

// gather turns what the person typed into files, in the order typed, folders
// in order of name. Hidden files and folders, and everything below skip unless
// it was named itself, are passed over. Links to files are followed; links to folders are not, so that
// no loop can be walked.
func gather(ctx context.Context, paths []string, skip string) (*gathered, error) {
	g := &gathered{}
	seen := newSeen()
	for _, p := range paths {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		info, err := os.Stat(p)
		if err != nil {
			g.bad = append(g.bad, badPath{p, notFound(p, err)})
			continue
		}
		switch {
		case info.IsDir():
			err = g.walk(ctx, p, skip, seen)
		case !info.Mode().IsRegular():
			g.bad = append(g.bad, badPath{p, &fault.Error{Kind: fault.Unreadable, Op: "read", Subject: p,
				Err: errors.New("neither a file nor a folder"), Hint: "name recordings or folders that hold them"}})
		case seen.add(info):
			g.files = append(g.files, p)
		}
		if err != nil {
			return nil, err
		}
	}
	return g, nil
}

func notFound(p string, err error) error {
	why, hint := fault.Cause(err), "check that the card or disk is still there and that you may read it"
	if errors.Is(err, fs.ErrNotExist) {
		why, hint = errors.New("there is no such file or folder"), "check the spelling; a name with spaces wants quotes"
	}
	return &fault.Error{Kind: fault.Unreadable, Op: "read", Subject: p, Err: why, Hint: hint}
}

func (g *gathered) walk(ctx context.Context, root, skip string, seen *seen) error {
	other, links := 0, 0
	err := filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			g.bad = append(g.bad, badPath{p, notFound(p, err)})
			if d != nil && d.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		if p != root && strings.HasPrefix(d.Name(), ".") {
			if d.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		if d.IsDir() {
			if p != root && skip != "" && samePath(p, skip) {
				return fs.SkipDir
			}
			return nil
		}
		if !mediaEndings[strings.ToLower(filepath.Ext(p))] {
			other++
			return nil
		}
		info, err := os.Stat(p)
		switch {
		case err != nil:
			g.bad = append(g.bad, badPath{p, notFound(p, err)})
		case info.IsDir():
			links++
		case info.Mode().IsRegular() && seen.add(info):
			g.files = append(g.files, p)
		}
		return nil
	})
	if other > 0 {
		g.notes = append(g.notes, fmt.Sprintf("%s: passed over %s whose names end like no recording", fault.Quote(root), count(other, "file")))
	}
	if links > 0 {
		g.notes = append(g.notes, fmt.Sprintf("%s: passed over %s to folders", fault.Quote(root), count(links, "link")))
	}
	return err
}

// samePath tells whether two paths name one folder.
func samePath(a, b string) bool {
	if filepath.Clean(a) == filepath.Clean(b) {
		return true
	}
	x, err1 := os.Stat(a)
	y, err2 := os.Stat(b)
	return err1 == nil && err2 == nil && os.SameFile(x, y)
}

// seen remembers files, so that one given twice, or through a link, is taken
// once. Sizes sort out most comparisons.
type seen struct{ bySize map[int64][]fs.FileInfo }

func newSeen() *seen { return &seen{map[int64][]fs.FileInfo{}} }

func (s *seen) add(info fs.FileInfo) bool {
	for _, o := range s.bySize[info.Size()] {
		if os.SameFile(o, info) {
			return false
		}
	}
	s.bySize[info.Size()] = append(s.bySize[info.Size()], info)
	return true
}

func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// LooksLikeRecording tells whether a file's name ends as a recording's.
func LooksLikeRecording(name string) bool { return mediaEndings[strings.ToLower(filepath.Ext(name))] }

// CountRecordings counts what looks like a recording in a folder, not in the
// folders in it; 0 where it cannot be read.
func CountRecordings(dir string) (n int) {
	entries, _ := os.ReadDir(dir)
	for _, e := range entries {
		if !e.IsDir() && !strings.HasPrefix(e.Name(), ".") && LooksLikeRecording(e.Name()) {
			n++
		}
	}
	return n
}
