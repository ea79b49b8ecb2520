package app

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"earshot/internal/fault"
)

// Files being written stand in the target folder under a passing name that
// tells whose they are: ".earshot-PID-WHAT.part". A run removes those of runs
// that are no more.
const (
	partPrefix = ".earshot-"
	partSuffix = ".part"
)

func partName(dir, what string) string {
	return filepath.Join(dir, partPrefix+strconv.Itoa(os.Getpid())+"-"+what+partSuffix)
}

// openTarget makes the target folder, sees that it can be written to before
// anything long begins, and clears what killed runs left.
func openTarget(dir string) error {
	unwritable := func(err error) error {
		return &fault.Error{Kind: fault.Unwritable, Op: "write into", Subject: dir, Err: fault.Cause(err),
			Hint: "choose another folder with --to, or make room there"}
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return unwritable(err)
	}
	sweep(dir)
	probe := partName(dir, "probe")
	if err := os.WriteFile(probe, []byte{0}, 0o600); err != nil {
		os.Remove(probe)
		return unwritable(err)
	}
	return os.Remove(probe)
}

// longestName is the longest name of a file that common disks take, in bytes.
const longestName = 255

// sweep removes part files of processes that no longer run.
func sweep(dir string) {
	names, _ := filepath.Glob(filepath.Join(globEscape(dir), partPrefix+"*"+partSuffix))
	for _, n := range names {
		rest := strings.TrimPrefix(filepath.Base(n), partPrefix)
		pid, err := strconv.Atoi(rest[:max(0, strings.IndexByte(rest, '-'))])
		if err != nil || pid == os.Getpid() || !running(pid) {
			os.Remove(n)
		}
	}
}

// globEscape keeps a folder's own brackets and stars from being patterns.
func globEscape(dir string) string {
	return strings.NewReplacer(`[`, `[[]`, `*`, `[*]`, `?`, `[?]`).Replace(dir)
}

// finish makes a written part the file at final: its bytes are on the disk
// before its name is.
func finish(part, final string, again bool) error {
	failed := func(err error) error {
		os.Remove(part)
		return unwritten(final, err)
	}
	if err := syncFile(part); err != nil {
		return failed(err)
	}
	if _, err := os.Lstat(final); err == nil && !again {
		return failed(errors.New("a file of that name appeared meanwhile"))
	}
	if err := os.Rename(part, final); err != nil {
		return failed(err)
	}
	syncFolder(filepath.Dir(final))
	return nil
}

func unwritten(path string, err error) error {
	return &fault.Error{Kind: fault.Unwritable, Op: "write", Subject: path, Err: fault.Cause(err),
		Hint: "make room on the disk, or choose another folder with --to"}
}

// syncFile waits until a file's bytes are on the disk.
func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	err = f.Sync()
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	return err
}

// syncFolder asks for the folder's own entry to be on the disk; systems that
// cannot do that are left in peace.
func syncFolder(dir string) {
	if d, err := os.Open(dir); err == nil {
		_ = d.Sync()
		d.Close()
	}
}

// writeWhole writes a small file aside and renames it over what stood there.
func writeWhole(path string, content []byte) error {
	part := partName(filepath.Dir(path), filepath.Base(path))
	if err := os.WriteFile(part, content, 0o644); err != nil {
		os.Remove(part)
		return unwritten(path, err)
	}
	return finish(part, path, true)
}

// originals are the files that went in. Nothing is ever written in their
// place, whatever was asked for.
type originals []fs.FileInfo

func newOriginals(d *Day) originals {
	var o originals
	add := func(path string) {
		if info, err := os.Stat(path); err == nil {
			o = append(o, info)
		}
	}
	for _, r := range d.clips {
		add(r.path)
	}
	for _, r := range d.sounds {
		add(r.path)
	}
	for _, f := range d.result.Document.Failed {
		add(f.Path)
	}
	return o
}

// hold tells whether path is one of them, under whatever name.
func (o originals) hold(path string) bool {
	info, err := os.Stat(path)
	if err != nil {
		return false
	}
	for _, other := range o {
		if os.SameFile(info, other) {
			return true
		}
	}
	return false
}

// A namer gives finished clips their names.
type namer struct {
	dir, pattern, ending string
	taken                map[string]bool // lower case: some disks do not tell case apart
}

func newNamer(dir, pattern, ending string) (*namer, error) {
	if pattern == "" {
		pattern = "{clip}_married"
	}
	if !strings.Contains(pattern, "{clip}") || strings.ContainsAny(pattern, `/\`) {
		return nil, &fault.Error{Kind: fault.Usage, Op: "name the clips by", Subject: pattern,
			Err: errors.New("a pattern holds {clip} and no folder"), Hint: `for example --name "{clip}_married"`}
	}
	return &namer{dir, pattern, ending, map[string]bool{}}, nil
}

// names lists the names a clip may get, the plainest first: its own, with its
// folder's before it, numbered.
// A name of a person's own stands for the clip's.
func (n *namer) names(clip, own string) func(yield func(string) bool) {
	base := strings.TrimSuffix(filepath.Base(clip), filepath.Ext(clip))
	if own = plainName(own); own != "" {
		base = own
	}
	folder := filepath.Base(filepath.Dir(clip))
	if abs, err := filepath.Abs(clip); err == nil {
		folder = filepath.Base(filepath.Dir(abs))
	}
	full := func(stem string) string {
		return filepath.Join(n.dir, strings.ReplaceAll(n.pattern, "{clip}", stem)+n.ending)
	}
	return func(yield func(string) bool) {
		if !yield(full(base)) || !yield(full(folder+"_"+base)) {
			return
		}
		for i := 2; i < 1000; i++ {
			if !yield(full(fmt.Sprintf("%s_%s_%d", folder, base, i))) {
				return
			}
		}
	}
}

// choose gives clip the first name that no other clip has: not in this run,
// and not on the disk, where ours tells whether what stands there is this
// clip's own.
func (n *namer) choose(clip, own string, ours func(path string) bool) string {
	for name := range n.names(clip, own) {
		key := strings.ToLower(name)
		if n.taken[key] {
			continue
		}
		if _, err := os.Lstat(name); err == nil && !ours(name) {
			continue
		}
		n.taken[key] = true
		return name
	}
	return ""
}

// plainName makes a file's name of what a person wrote: no folders, nothing that
// some disk refuses, no dots or blanks at its ends.
func plainName(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || strings.ContainsRune(`/\:*?"<>|`, r) {
			return '-'
		}
		return r
	}, strings.ToValidUTF8(s, "-"))
	return strings.Trim(s, ". ")
}
