package desk

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"
)

func TestDrop(t *testing.T) {
	r := newRig(t)
	d := r.open(t)
	ctx := context.Background()
	for range 2 {
		if err := d.Drop(ctx, "a.wav", strings.NewReader("not a sound")); err != nil {
			t.Fatal(err)
		}
	}
	dir := filepath.Join(r.folder, droppedFolder)
	for _, name := range []string{"a.wav", "a-2.wav"} {
		if b, err := os.ReadFile(filepath.Join(dir, name)); err != nil || string(b) != "not a sound" {
			t.Errorf("%s: %q, %v", name, b, err)
		}
	}
	broken := io.MultiReader(strings.NewReader("half"), iotest.ErrReader(errors.New("the page went away")))
	if err := d.Drop(ctx, "b.wav", broken); err == nil {
		t.Error("half a file was taken in")
	}
	for _, name := range []string{"", ".", "..", "x/y.wav", `x\y.wav`, "x\x00.wav", "../a.wav"} {
		if err := d.Drop(ctx, name, strings.NewReader("x")); err == nil {
			t.Errorf("%q was taken in", name)
		}
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 2 {
		t.Errorf("%d files lie there, want 2: %v", len(left), err)
	}
	s := until(t, d, "both told as unreadable", func(s State) bool {
		return !s.Work.Busy && len(s.Recordings) == 2 && s.Recordings[0].State == "failed" && s.Recordings[1].State == "failed"
	})
	if s.Recordings[0].Error == "" {
		t.Error("a file that cannot be read is not explained")
	}
}

// Only what lies in a place is told of, links followed.
func TestFolderStaysInPlaces(t *testing.T) {
	r := newRig(t)
	d := r.open(t)
	home, outside := t.TempDir(), t.TempDir()
	t.Setenv("HOME", home)
	t.Setenv("USERPROFILE", home)
	if err := errors.Join(os.MkdirAll(filepath.Join(home, "card", "clips"), 0o755), os.WriteFile(filepath.Join(home, "card", "clips", "C1.MP4"), []byte("x"), 0o644),
		os.WriteFile(filepath.Join(home, "card", "notes.txt"), nil, 0o644), os.Symlink(outside, filepath.Join(home, "away"))); err != nil {
		t.Skip(err) // a system without links
	}
	ctx := context.Background()
	got, err := d.Folder(ctx, filepath.Join(home, "card"))
	if err != nil || len(got.Folders) != 1 || got.Folders[0].Recordings != 1 || len(got.Recordings) != 0 || got.Up == "" {
		t.Errorf("%+v, %v", got, err)
	}
	if got, err := d.Folder(ctx, home); err != nil || got.Up != "" {
		t.Errorf("%+v, %v: a place has nothing above it", got, err)
	}
	for _, path := range []string{"", "card", outside, filepath.Join(home, "away"), filepath.Join(home, ".."), home + "/card/../..", home + "\x00", "/etc", filepath.Join(home, "gone")} {
		if got, err := d.Folder(ctx, path); err == nil {
			t.Errorf("%q is told of: %+v", path, got)
		}
	}
}
