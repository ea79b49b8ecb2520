package desk

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"earshot/internal/app"
	"earshot/internal/media/mediatest"
	"earshot/internal/store"
)

// Whoever asks for a small copy that is being made is told so at once; one that
// fails is told once and then tried again; one that is there is found.
func TestSmallPictureIsBegunNotWaitedFor(t *testing.T) {
	r := newRig(t)
	goOn := make(chan error)
	engine := &mediatest.Fake{Before: func(ctx context.Context, op, _ string) error {
		if op != "small" {
			return nil
		}
		select {
		case err := <-goOn:
			return err
		case <-ctx.Done():
			return ctx.Err()
		}
	}}
	p := newPictures(&app.App{Engine: engine, Cache: store.Open(r.cache, store.DefaultLimit)})
	clips, err := filepath.Glob(filepath.Join(r.recordings, "*", "*.MP4"))
	if err != nil || len(clips) == 0 {
		t.Fatalf("the lesson has no clip: %v", err)
	}
	ctx := t.Context()
	ask := func() (string, error) { return p.small(ctx, ctx, clips[0]) }
	for range 2 {
		if _, err := ask(); !errors.Is(err, ErrMaking) {
			t.Fatalf("while it is made: %v", err)
		}
	}
	broken := errors.New("the engine died")
	goOn <- broken
	for err = ErrMaking; errors.Is(err, ErrMaking); {
		_, err = ask()
	}
	if !errors.Is(err, broken) {
		t.Fatalf("when it failed: %v", err)
	}
	if _, err := ask(); !errors.Is(err, ErrMaking) {
		t.Fatalf("after it failed it is begun anew: %v", err)
	}
	goOn <- nil
	var path string
	for err = ErrMaking; errors.Is(err, ErrMaking); {
		path, err = ask()
	}
	if err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(path); err != nil || info.Size() == 0 {
		t.Errorf("%s: %v", path, err)
	}
	if again, err := ask(); again != path || err != nil {
		t.Errorf("asked again it is %q: %v", again, err)
	}
}
