package store

import (
	"bufio"
	"encoding/binary"
	"errors"
	"hash"
	"io"
	"os"
	"time"

	"earshot/internal/fault"
)

// A stream is a file of the cache that grows while a recording is read, and is
// read in parts later. A checksum of four bytes ends it. close or discard must
// be called.
type stream struct {
	aside *aside
	sum   hash.Hash32
}

func (c *Cache) createStream(id Identity, name string) (*stream, error) {
	a, err := c.create(id, name)
	if err != nil {
		return nil, err
	}
	return &stream{a, newSum(id, name)}, nil
}

func (s *stream) write(b []byte) error {
	s.sum.Write(b)
	return s.put(b)
}

func (s *stream) put(b []byte) error {
	if _, err := s.aside.tmp.Write(b); err != nil {
		return s.aside.cache.unwritable(err)
	}
	return nil
}

func (s *stream) close() error {
	if err := s.put(binary.LittleEndian.AppendUint32(nil, s.sum.Sum32())); err != nil {
		s.discard()
		return err
	}
	if err := s.aside.keep(); err != nil {
		return err
	}
	// What this process has just written needs no reading through.
	if info, err := os.Stat(s.aside.final); err == nil {
		s.aside.cache.proven.Store(s.aside.final, stamp{info.Size(), info.ModTime()})
	}
	return nil
}

func (s *stream) discard() { s.aside.discard() }

// ErrDamaged is in the chain of an error when what is kept of a recording is
// gone or is no longer what was written: it can be made anew.
var ErrDamaged = errors.New("what is kept of it is damaged")

// damaged is the error of what is kept at path and cannot be used.
func damaged(path string) error {
	return &fault.Error{Kind: fault.Unreadable, Op: "read", Subject: path, Err: ErrDamaged,
		Hint: "run again with --fresh, or set EARSHOT_CACHE to a folder on another disk"}
}

// openSized opens what is kept under id and name if it has size bytes.
func (c *Cache) openSized(id Identity, name string, size int64) (*os.File, os.FileInfo, error) {
	path := c.path(id, name)
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, damaged(path)
	}
	info, err := f.Stat()
	if err != nil || info.Size() != size {
		f.Close()
		return nil, nil, damaged(path)
	}
	return f, info, nil
}

// openProven opens the stream of size bytes, checksum included, under id and
// name. The first time, unless this process wrote it, it is read through to see
// that it is undamaged.
func (c *Cache) openProven(id Identity, name string, size int64) (*os.File, error) {
	f, info, err := c.openSized(id, name, size)
	if err != nil {
		return nil, err
	}
	now := stamp{info.Size(), info.ModTime()}
	if before, ok := c.proven.Load(f.Name()); !ok || before != now {
		if !sumsUp(f, newSum(id, name), info.Size()) {
			f.Close()
			return nil, damaged(f.Name())
		}
		c.proven.Store(f.Name(), now)
	}
	return f, nil
}

// A stamp tells one writing of a file from another.
type stamp struct {
	size    int64
	changed time.Time
}

// sumsUp reads a stream to its end and compares the checksum.
func sumsUp(f *os.File, sum hash.Hash32, size int64) bool {
	r := bufio.NewReaderSize(io.NewSectionReader(f, 0, size), 1<<18)
	if _, err := io.CopyN(sum, r, size-sumBytes); err != nil {
		return false
	}
	var want [sumBytes]byte
	_, err := io.ReadFull(r, want[:])
	return err == nil && binary.LittleEndian.Uint32(want[:]) == sum.Sum32()
}

// has tells whether a stream of so many bytes stands under id and name.
func (c *Cache) has(id Identity, name string, size int64) bool {
	info, err := os.Stat(c.path(id, name))
	return err == nil && info.Size() == size
}
