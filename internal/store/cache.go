// Package store keeps what Earshot derives from recordings, so that a second
// look is near instant, and what a person said of a shoot, of which nothing may
// be lost. It owns every file Earshot keeps for itself and never writes over an
// original.
//
// A Shoot is the person's part, a SQLite file in a folder that the person knows.
//
// A Cache holds one folder per recording, named by the recording's Identity,
// and in it whatever was derived, each under a name of its own. Files are
// written aside and renamed, so that a reader sees a whole file or none. Each
// carries a checksum over its content and its place: what a disk damaged, or
// somebody moved, counts as not there and is derived anew.
package store

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"hash"
	"hash/crc32"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"sync"
	"time"

	"earshot/internal/fault"
)

// layout is part of every path; a change of any format kept here changes it,
// and what older versions left is cleared by Trim.
const layout = "4"

// DefaultLimit bounds a Cache's size in bytes.
const DefaultLimit = 6 << 30

// A Cache is a folder of derived data, bounded in size; the longest unused
// goes first. Everything in it can be made again. It is safe for concurrent
// use, also by several processes.
type Cache struct {
	dir    string
	limit  int64
	proven sync.Map // streams whose checksum was found right: stamp by path
}

// DefaultDir is the folder a Cache lives in unless the person says otherwise.
func DefaultDir() (string, error) {
	base, err := os.UserCacheDir()
	if err != nil {
		return "", &fault.Error{Kind: fault.Unwritable, Op: "find a folder for the cache", Err: err,
			Hint: "set EARSHOT_CACHE to a folder that may be written"}
	}
	return filepath.Join(base, "earshot"), nil
}

// Open names a Cache in dir, bounded to limit bytes. Nothing is made or read
// until it is used.
func Open(dir string, limit int64) *Cache { return &Cache{dir: dir, limit: limit} }

// Dir is where the cache lives.
func (c *Cache) Dir() string { return c.dir }

// Limit is the size in bytes that Trim keeps it under.
func (c *Cache) Limit() int64 { return c.limit }

func (c *Cache) root() string { return filepath.Join(c.dir, "recordings", layout) }

func (c *Cache) path(id Identity, name string) string {
	return filepath.Join(c.root(), string(id[:2]), string(id), name)
}

// Load fills v from the JSON kept under id and name. It reports false when
// there is none or it cannot be understood.
func (c *Cache) Load(id Identity, name string, v any) bool {
	b := c.LoadBytes(id, name)
	return b != nil && json.Unmarshal(b, v) == nil
}

// Save keeps v as JSON under id and name.
func (c *Cache) Save(id Identity, name string, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return c.unwritable(err)
	}
	return c.SaveBytes(id, name, b)
}

// sumBytes is the length of a checksum, little-endian.
const sumBytes = 4

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// newSum begins the checksum of what is kept under id and name.
func newSum(id Identity, name string) hash.Hash32 {
	h := crc32.New(castagnoli)
	h.Write([]byte(string(id) + "/" + name + "\x00"))
	return h
}

// LoadBytes returns what is kept under id and name, or nil when there is
// nothing, or nothing undamaged.
func (c *Cache) LoadBytes(id Identity, name string) []byte {
	b, err := os.ReadFile(c.path(id, name))
	if err != nil || len(b) < sumBytes {
		return nil
	}
	h := newSum(id, name)
	h.Write(b[sumBytes:])
	if binary.LittleEndian.Uint32(b) != h.Sum32() {
		return nil
	}
	return b[sumBytes:]
}

// SaveBytes keeps b under id and name.
func (c *Cache) SaveBytes(id Identity, name string, b []byte) error {
	f, err := c.create(id, name)
	if err != nil {
		return err
	}
	h := newSum(id, name)
	h.Write(b)
	for _, part := range [][]byte{binary.LittleEndian.AppendUint32(nil, h.Sum32()), b} {
		if _, err := f.tmp.Write(part); err != nil {
			f.discard()
			return c.unwritable(err)
		}
	}
	return f.keep()
}

// Touch marks id as just used.
func (c *Cache) Touch(id Identity) {
	now := time.Now()
	_ = os.Chtimes(filepath.Dir(c.path(id, "x")), now, now)
}

// An aside is a file being written under a passing name.
type aside struct {
	cache *Cache
	tmp   *os.File
	final string
}

func (c *Cache) create(id Identity, name string) (*aside, error) {
	final := c.path(id, name)
	if err := os.MkdirAll(filepath.Dir(final), 0o700); err != nil {
		return nil, c.unwritable(err)
	}
	tmp, err := os.CreateTemp(filepath.Dir(final), name+".part-*")
	if err != nil {
		return nil, c.unwritable(err)
	}
	return &aside{c, tmp, final}, nil
}

func (a *aside) keep() error {
	if err := a.tmp.Close(); err != nil {
		os.Remove(a.tmp.Name())
		return a.cache.unwritable(err)
	}
	if err := os.Rename(a.tmp.Name(), a.final); err != nil {
		os.Remove(a.tmp.Name())
		return a.cache.unwritable(err)
	}
	return nil
}

func (a *aside) discard() {
	a.tmp.Close()
	os.Remove(a.tmp.Name())
}

func (c *Cache) unwritable(err error) error {
	return &fault.Error{Kind: fault.Unwritable, Op: "write to the cache", Subject: c.dir, Err: fault.Cause(err),
		Hint: "free some space there, or set EARSHOT_CACHE to another folder"}
}

// Use returns how many bytes the cache takes.
func (c *Cache) Use() int64 {
	var sum int64
	for _, e := range c.entries() {
		sum += e.size
	}
	return sum
}

type entry struct {
	path string
	size int64
	used time.Time
}

// entries lists the recordings kept, the longest unused first.
func (c *Cache) entries() []entry {
	var out []entry
	folders, _ := filepath.Glob(filepath.Join(c.root(), "??", "*"))
	for _, dir := range folders {
		info, err := os.Stat(dir)
		if err != nil || !info.IsDir() {
			continue
		}
		e := entry{path: dir, used: info.ModTime()}
		_ = filepath.WalkDir(dir, func(_ string, d fs.DirEntry, err error) error {
			if err == nil && !d.IsDir() {
				if i, err := d.Info(); err == nil {
					e.size += i.Size()
				}
			}
			return nil
		})
		out = append(out, e)
	}
	sort.Slice(out, func(i, j int) bool { return out[i].used.Before(out[j].used) })
	return out
}

// Trim removes the longest unused recordings until the rest is within the
// limit, and what older versions or killed runs left behind. Recordings in
// keep stay whatever their size.
func (c *Cache) Trim(keep map[Identity]bool) {
	c.clearOld()
	entries := c.entries()
	var sum int64
	for _, e := range entries {
		sum += e.size
		c.clearParts(e.path)
	}
	for _, e := range entries {
		if sum <= c.limit {
			return
		}
		if keep[Identity(filepath.Base(e.path))] {
			continue
		}
		if os.RemoveAll(e.path) == nil {
			sum -= e.size
		}
	}
}

// stale is the age at which a part file belongs to no living run.
const stale = 24 * time.Hour

func (c *Cache) clearParts(dir string) {
	parts, _ := filepath.Glob(filepath.Join(dir, "*.part-*"))
	for _, p := range parts {
		if i, err := os.Stat(p); err == nil && time.Since(i.ModTime()) > stale {
			os.Remove(p)
		}
	}
}

func (c *Cache) clearOld() {
	versions, err := os.ReadDir(filepath.Join(c.dir, "recordings"))
	if errors.Is(err, fs.ErrNotExist) {
		return
	}
	for _, v := range versions {
		if v.Name() != layout {
			os.RemoveAll(filepath.Join(c.dir, "recordings", v.Name()))
		}
	}
}
