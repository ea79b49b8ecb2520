package store

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"earshot/internal/shoot"
)

// What a shoot costs, beside what cannot be had for less: one small file written,
// waited for and put under its name.
func BenchmarkShoot(b *testing.B) {
	b.Run("file written and waited for", func(b *testing.B) {
		dir := b.TempDir()
		for i := range b.N {
			f, err := os.Create(filepath.Join(dir, "part"))
			must(b, err)
			_, err = fmt.Fprintf(f, "%0400d", i)
			must(b, err)
			must(b, f.Sync())
			must(b, f.Close())
			must(b, os.Rename(filepath.Join(dir, "part"), filepath.Join(dir, "whole")))
		}
	})
	for _, vfs := range []string{"", vfsAlone} {
		b.Run("say by "+vfs, func(b *testing.B) {
			s := openBy(b, b.TempDir(), vfs)
			for i := range b.N {
				must(b, s.Say("clip", shoot.Word{Note: fmt.Sprint(i)}, "noted"))
			}
		})
	}
	b.Run("new", func(b *testing.B) {
		dir := b.TempDir()
		for i := range b.N {
			s, err := OpenShoot(filepath.Join(dir, fmt.Sprint(i)))
			must(b, err)
			must(b, s.Close())
		}
	})
	full := open(b, b.TempDir())
	for i := range 2000 {
		must(b, full.Say(fmt.Sprint("clip ", i%200), shoot.Word{Sound: "5f0c", Note: fmt.Sprint("note ", i)}, "noted"))
	}
	must(b, full.Keep("measured", make([]byte, 2<<20)))
	must(b, full.Close())
	b.Run("opened with 2000 steps and 2 MB kept", func(b *testing.B) {
		for range b.N {
			s, err := OpenShoot(full.Dir())
			must(b, err)
			must(b, s.Close())
		}
	})
	b.Run("words of 200 clips", func(b *testing.B) {
		s := open(b, full.Dir())
		for b.Loop() {
			_, err := s.Words()
			must(b, err)
		}
	})
}
