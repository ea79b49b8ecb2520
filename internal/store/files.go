package store

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"
)

var made atomic.Int64 // tells parts of one process apart

// MakeFile returns the path of a file kept under id and name for others to
// read. Where it is not there yet, fill makes it at a path that is free, and it
// gets its name once it is whole.
func (c *Cache) MakeFile(id Identity, name string, fill func(path string) error) (string, error) {
	final := c.path(id, name)
	if info, err := os.Stat(final); err == nil && info.Mode().IsRegular() && info.Size() > 0 {
		c.Touch(id)
		return final, nil
	}
	if err := os.MkdirAll(filepath.Dir(final), 0o700); err != nil {
		return "", c.unwritable(err)
	}
	ext := filepath.Ext(name)
	part := filepath.Join(filepath.Dir(final), fmt.Sprintf("%s.part-%d-%d-%d%s", strings.TrimSuffix(name, ext), os.Getpid(), time.Now().UnixNano(), made.Add(1), ext))
	if err := fill(part); err != nil {
		os.Remove(part)
		return "", err
	}
	if err := os.Rename(part, final); err != nil {
		os.Remove(part)
		return "", c.unwritable(err)
	}
	return final, nil
}
