package store

import (
	"io"
	"os"
)

// A RowsWriter writes rows of bytes, a recording's sketch, one after the other.
// Close or Discard must be called.
type RowsWriter struct {
	stream *stream
	out    []byte
	n      int64
}

// rowsHeld is how many bytes wait before they are written.
const rowsHeld = 1 << 15

// CreateRows begins rows under id and name.
func (c *Cache) CreateRows(id Identity, name string) (*RowsWriter, error) {
	s, err := c.createStream(id, name)
	if err != nil {
		return nil, err
	}
	return &RowsWriter{stream: s}, nil
}

// Write takes the next rows.
func (w *RowsWriter) Write(rows []byte) (err error) {
	w.out = append(w.out, rows...)
	w.n += int64(len(rows))
	if len(w.out) >= rowsHeld {
		err = w.stream.write(w.out)
		w.out = w.out[:0]
	}
	return err
}

// Close finishes the file and returns the number of bytes in it.
func (w *RowsWriter) Close() (int64, error) {
	if err := w.stream.write(w.out); err != nil {
		w.Discard()
		return 0, err
	}
	return w.n, w.stream.close()
}

// Discard drops what was written.
func (w *RowsWriter) Discard() { w.stream.discard() }

// Rows reads rows of one width at random. It is a dsp.Sketch, and safe for
// concurrent use.
type Rows struct {
	f     *os.File
	n     int
	width int
}

// OpenRows opens n rows of width bytes under id and name. The first time, they
// are read through to see that they are undamaged.
func (c *Cache) OpenRows(id Identity, name string, n, width int) (*Rows, error) {
	f, err := c.openProven(id, name, int64(n)*int64(width)+sumBytes)
	if err != nil {
		return nil, err
	}
	return &Rows{f, n, width}, nil
}

// HasRows tells whether n rows of width bytes stand under id and name, going
// by their size.
func (c *Cache) HasRows(id Identity, name string, n, width int) bool {
	return n >= 0 && c.has(id, name, int64(n)*int64(width)+sumBytes)
}

// Rows returns the number of rows.
func (r *Rows) Rows() int { return r.n }

// Close closes the file.
func (r *Rows) Close() error { return r.f.Close() }

// ReadRows fills dst, whole rows, with those from index first on; outside the
// recording there are zeros.
func (r *Rows) ReadRows(dst []byte, first int) error {
	clear(dst)
	lo, hi := max(first, 0), min(first+len(dst)/r.width, r.n)
	if lo >= hi {
		return nil
	}
	part := dst[(lo-first)*r.width : (hi-first)*r.width]
	if _, err := r.f.ReadAt(part, int64(lo)*int64(r.width)); err != nil && err != io.EOF {
		return unreadable(r.f.Name(), err)
	}
	return nil
}
