package app

import (
	"context"
	"os"
	"path/filepath"
	"reflect"
	"testing"
)

// Half of what is kept of every sound is damaged on the disk: it is made anew
// when it is read, and the result is what it was.
func TestDamageInWhatIsKeptIsMended(t *testing.T) {
	a, _ := newSwiftApp(t)
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
	kept := func(name string) []string {
		files, err := filepath.Glob(filepath.Join(a.Cache.Dir(), "recordings", "*", "*", "*", name))
		if err != nil || len(files) == 0 {
			t.Fatalf("nothing kept as %s: %v", name, err)
		}
		return files
	}
	for _, path := range kept("proxy-*") {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for i := len(b) / 2; i < len(b); i++ {
			b[i] ^= 0x55
		}
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, path := range kept(linksName) {
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
	}
	if after := pair(); !reflect.DeepEqual(after.Document, before.Document) {
		t.Errorf("the result is another:\n%+v\nit was\n%+v", after.Document, before.Document)
	}
}
