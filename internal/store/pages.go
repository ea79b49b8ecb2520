package store

import (
	"encoding/binary"
	"errors"
	"io"
	"os"
	"slices"
)

// A pages file is a run of bytes in pages of pageContent, the last one shorter,
// each with a checksum behind it: a part of many hours is read and known to be
// sound without reading the rest.
const (
	pageContent = 6144 // a thousand of a wave's bins
	pageBytes   = pageContent + sumBytes
)

// pagesSize is the size in bytes of a pages file of n bytes.
func pagesSize(n int64) int64 { return n + (n+pageContent-1)/pageContent*sumBytes }

// A PagesWriter writes a pages file. Close or Discard must be called.
type PagesWriter struct {
	aside *aside
	begun uint32 // see blockSum
	pages int
	hold  []byte
	out   []byte
	n     int64
}

// CreatePages begins pages under id and name.
func (c *Cache) CreatePages(id Identity, name string) (*PagesWriter, error) {
	a, err := c.create(id, name)
	if err != nil {
		return nil, err
	}
	return &PagesWriter{aside: a, begun: newSum(id, name).Sum32()}, nil
}

// Write takes the next bytes.
func (w *PagesWriter) Write(b []byte) error {
	w.n += int64(len(b))
	for len(b) > 0 {
		n := min(pageContent-len(w.hold), len(b))
		w.hold = append(w.hold, b[:n]...)
		b = b[n:]
		if len(w.hold) == pageContent {
			if err := w.page(); err != nil {
				return err
			}
		}
	}
	return nil
}

// page writes what is held as a page.
func (w *PagesWriter) page() error {
	w.out = append(w.out[:0], w.hold...)
	w.out = binary.LittleEndian.AppendUint32(w.out, blockSum(w.begun, w.pages, w.hold))
	w.pages++
	w.hold = w.hold[:0]
	if _, err := w.aside.tmp.Write(w.out); err != nil {
		return w.aside.cache.unwritable(err)
	}
	return nil
}

// Close finishes the file and returns the number of bytes in it.
func (w *PagesWriter) Close() (int64, error) {
	if len(w.hold) > 0 {
		if err := w.page(); err != nil {
			w.Discard()
			return 0, err
		}
	}
	return w.n, w.aside.keep()
}

// Discard drops what was written.
func (w *PagesWriter) Discard() { w.aside.discard() }

// Pages reads a pages file at random. It is safe for concurrent use.
type Pages struct {
	f     *os.File
	begun uint32 // see blockSum
	n     int64
}

// OpenPages opens n bytes of pages under id and name. ErrDamaged is in the error
// where there are none of that size.
func (c *Cache) OpenPages(id Identity, name string, n int64) (*Pages, error) {
	f, _, err := c.openSized(id, name, pagesSize(n))
	if err != nil {
		return nil, err
	}
	return &Pages{f, newSum(id, name).Sum32(), n}, nil
}

// Close closes the file.
func (p *Pages) Close() error { return p.f.Close() }

// ReadAt fills dst with the bytes from index at on, zeros outside. ErrDamaged is
// in the error where what stands there is not what was written.
func (p *Pages) ReadAt(dst []byte, at int64) error {
	clear(dst)
	lo, hi := max(at, 0), min(at+int64(len(dst)), p.n)
	if lo >= hi {
		return nil
	}
	first, last := lo/pageContent, (hi-1)/pageContent
	held := raws.Get().(*[]byte)
	defer raws.Put(held)
	size := min((last+1)*pageBytes, pagesSize(p.n)) - first*pageBytes
	*held = slices.Grow((*held)[:0], int(size))
	raw := (*held)[:size]
	if n, err := p.f.ReadAt(raw, first*pageBytes); n < len(raw) {
		if errors.Is(err, io.EOF) {
			return damaged(p.f.Name())
		}
		return unreadable(p.f.Name(), err)
	}
	for b := first; b <= last; b++ {
		page := raw[(b-first)*pageBytes:]
		page = page[:min(pageBytes, len(page))]
		content := page[:len(page)-sumBytes]
		if binary.LittleEndian.Uint32(page[len(content):]) != blockSum(p.begun, int(b), content) {
			return damaged(p.f.Name())
		}
		from, to := max(lo, b*pageContent), min(hi, (b+1)*pageContent)
		copy(dst[from-at:to-at], content[from-b*pageContent:])
	}
	return nil
}
