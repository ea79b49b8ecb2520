package store

import (
	"bytes"
	"errors"
	"os"
	"testing"
)

// writePages keeps bytes as pages, in pieces of a size that fits no page.
func writePages(t *testing.T, c *Cache, name string, content []byte) {
	t.Helper()
	w, err := c.CreatePages(someone, name)
	if err != nil {
		t.Fatal(err)
	}
	for at := 0; at < len(content); at += 1000 {
		if err := w.Write(content[at:min(at+1000, len(content))]); err != nil {
			t.Fatal(err)
		}
	}
	if n, err := w.Close(); err != nil || n != int64(len(content)) {
		t.Fatalf("Close = %d, %v, want %d bytes", n, err, len(content))
	}
}

func manyBytes(n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(i*i>>3 + i)
	}
	return b
}

// Any range of pages reads as it was written, and as zeros outside.
func TestPagesKeepBytes(t *testing.T) {
	c := Open(t.TempDir(), DefaultLimit)
	for _, n := range []int{0, 1, pageContent - 1, pageContent, pageContent + 1, 3*pageContent + 17} {
		want := manyBytes(n)
		writePages(t, c, "p", want)
		if p, err := c.OpenPages(someone, "p", int64(n)+1); !errors.Is(err, ErrDamaged) {
			t.Errorf("%d bytes open as %d: %v", n, n+1, err)
			p.Close()
		}
		p, err := c.OpenPages(someone, "p", int64(n))
		if err != nil {
			t.Fatal(err)
		}
		padded := append(append(make([]byte, 10), want...), make([]byte, 10)...)
		for _, part := range [][2]int{{-10, n + 10}, {0, n}, {-10, -5}, {n, n + 10}, {n / 2, n/2 + 3}, {n - 5, n + 5}, {pageContent - 3, pageContent + 3}} {
			lo, hi := max(-10, part[0]), min(n+10, part[1])
			if lo > hi {
				continue
			}
			got := bytes.Repeat([]byte{7}, hi-lo)
			if err := p.ReadAt(got, int64(lo)); err != nil || !bytes.Equal(got, padded[10+lo:10+hi]) {
				t.Errorf("of %d bytes, those from %d to %d are not what was written (%v)", n, lo, hi, err)
			}
		}
		p.Close()
	}
}

// A page that is damaged is not read; the others are.
func TestDamagedPagesAreNotRead(t *testing.T) {
	c := Open(t.TempDir(), DefaultLimit)
	content := manyBytes(2*pageContent + 100)
	writePages(t, c, "p", content)
	path := c.path(someone, "p")
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for what, b := range damages(whole) {
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		p, err := c.OpenPages(someone, "p", int64(len(content)))
		if err == nil {
			err = p.ReadAt(make([]byte, len(content)), 0)
			p.Close()
		}
		if !errors.Is(err, ErrDamaged) {
			t.Errorf("%s: %v, want that it is damaged", what, err)
		}
	}
	swapped := append(bytes.Clone(whole[pageBytes:2*pageBytes]), whole[:pageBytes]...) // each sound by itself
	swapped = append(swapped, whole[2*pageBytes:]...)
	if err := os.WriteFile(path, swapped, 0o600); err != nil {
		t.Fatal(err)
	}
	p, err := c.OpenPages(someone, "p", int64(len(content)))
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	if err := p.ReadAt(make([]byte, 10), 0); !errors.Is(err, ErrDamaged) {
		t.Errorf("pages in another order: %v", err)
	}
	rest := make([]byte, 100)
	if err := p.ReadAt(rest, 2*pageContent); err != nil || !bytes.Equal(rest, content[2*pageContent:]) {
		t.Errorf("the page that is whole: %v", err)
	}
}
