package app

import (
	"context"
	"os"
	"path/filepath"
	"reflect"
	"testing"
)

// Half of what is kept of every sound is damaged on the disk, or all of it is gone:
// it is made anew when it is read, and the result is what it was.
func TestDamageInWhatIsKeptIsMended(t *testing.T) {
	for _, tt := range []struct {
		name string
		cost int // as that of a longer shoot
		hurt func([]byte) []byte
	}{
		{"proxy-*", 0, spoilt},
		{"half-*", affordable + 1, spoilt},
		{"half-*", affordable + 1, nil},
	} {
		a, _ := newSwiftApp(t)
		a.cost = tt.cost
		dir := t.TempDir()
		writeLesson(t, dir)
		pair := func() *PairResult {
			res, err := a.Pair(context.Background(), PairOptions{Paths: []string{dir}})
			if err != nil {
				t.Fatal(err)
			}
			return res
		}
		before := pair()
		hurtKept(t, a, tt.name, tt.hurt)
		hurtKept(t, a, linksName, nil)
		if after := pair(); !reflect.DeepEqual(after.Document, before.Document) {
			t.Errorf("%s: the result is another:\n%+v\nit was\n%+v", tt.name, after.Document, before.Document)
		}
		hurtKept(t, a, tt.name, nil) // it was made anew, and is there
	}
}

// spoilt is content with its latter half changed.
func spoilt(content []byte) []byte {
	for i := len(content) / 2; i < len(content); i++ {
		content[i] ^= 0x55
	}
	return content
}

// hurtKept does so to what is kept under a name, or without hurt removes it.
func hurtKept(t *testing.T, a *App, name string, hurt func([]byte) []byte) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(a.Cache.Dir(), "recordings", "*", "*", "*", name))
	if err != nil || len(files) == 0 {
		t.Fatalf("nothing kept as %s: %v", name, err)
	}
	for _, path := range files {
		if hurt == nil {
			err = os.Remove(path)
		} else if b, e := os.ReadFile(path); e != nil {
			err = e
		} else {
			err = os.WriteFile(path, hurt(b), 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}
