package app

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"earshot/internal/fault"
)

// leftovers lists the files under dirs that a run writes aside.
func leftovers(t *testing.T, dirs ...string) (left []string) {
	t.Helper()
	for _, dir := range dirs {
		err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
			if err == nil && strings.Contains(d.Name(), ".part") {
				left = append(left, p)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return left
}

// settles waits until no more goroutines run than before.
func settles(t *testing.T, before int) {
	t.Helper()
	for range 200 {
		if runtime.NumGoroutine() <= before {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	buf := make([]byte, 1<<16)
	t.Errorf("%d goroutines, %d before:\n%s", runtime.NumGoroutine(), before, buf[:runtime.Stack(buf, true)])
}

// Stopped at any moment, a run says that it was stopped, leaves no part of a
// file behind and nothing running; the next one does what was left.
func TestStopped(t *testing.T) {
	dir := t.TempDir()
	if racing {
		writeTake(t, dir)
	} else {
		writeLesson(t, dir)
	}
	sound := func(path string) bool { return strings.Contains(path, "PHONE") }
	for _, tt := range []struct {
		name  string
		fresh bool // nothing in the cache yet
		at    func(op, path string) bool
		step  string // of the progress
	}{
		{name: "before anything", fresh: true, at: func(op, _ string) bool { return op == "probe" }},
		{name: "while reading", fresh: true, at: func(op, path string) bool { return op == "decode" && sound(path) }},
		{name: "when first told of reading", fresh: true, step: "reading"},
		{name: "while lining up", fresh: true, step: "lining up"},
		{name: "before writing", at: func(op, _ string) bool { return op == "render" }},
		{name: "while writing", at: func(op, path string) bool { return op == "decode" && sound(path) }},
		{name: "while proving", at: func(op, path string) bool { return op == "decode" && strings.HasSuffix(path, ".part") }},
		{name: "when first told of proving", step: "proving"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if racing && tt.step != "" {
				t.Skip("slow under the race detector, and like its neighbour")
			}
			a, fake := newSwiftApp(t)
			to := t.TempDir()
			if !tt.fresh {
				if _, err := a.Pair(context.Background(), PairOptions{Paths: []string{dir}}); err != nil {
					t.Fatal(err)
				}
			}
			before := runtime.NumGoroutine()
			ctx, cancel := context.WithCancel(context.Background())
			defer cancel()
			var stopped atomic.Bool
			fake.Before = func(ctx context.Context, op, path string) error {
				if tt.at != nil && tt.at(op, path) {
					stopped.Store(true)
					cancel()
					<-ctx.Done() // an engine that is busy until it is told
				}
				return nil
			}
			opt := MarryOptions{Paths: []string{dir}, To: to, Progress: func(p Progress) {
				if tt.step != "" && p.Step == tt.step {
					stopped.Store(true)
					cancel()
				}
			}}
			result, err := a.Marry(ctx, opt)
			if !stopped.Load() {
				t.Fatal("it never came to that")
			}
			if !errors.Is(err, context.Canceled) || fault.KindOf(err) != fault.Cancelled {
				t.Errorf("error %v, want that it was cancelled", err)
			}
			if left := leftovers(t, to, a.Cache.Dir()); len(left) != 0 {
				t.Errorf("left behind: %q", left)
			}
			settles(t, before)
			if result != nil {
				for _, c := range result.Clips {
					if _, err := os.Stat(c.Out); (err == nil) != (c.State == Written) {
						t.Errorf("%s is %s, its file: %v", c.Clip, c.State, err)
					}
				}
			}
		})
	}
}

// Where the sound breaks off while a clip is written, the sound's own trouble
// is told, and the part is gone.
func TestSoundBreaksOff(t *testing.T) {
	a, fake := newSwiftApp(t)
	dir, to := t.TempDir(), t.TempDir()
	_, sound, _ := writeTake(t, dir)
	if _, err := a.Pair(context.Background(), PairOptions{Paths: []string{dir}}); err != nil {
		t.Fatal(err)
	}
	before := runtime.NumGoroutine()
	fake.Before = func(_ context.Context, op, path string) error {
		if op == "decode" && path == sound {
			return &fault.Error{Kind: fault.Unreadable, Op: "read sound", Subject: path, Err: errors.New("the card was pulled out"), Hint: "put it back"}
		}
		return nil
	}
	r := marryAll(t, a, MarryOptions{Paths: []string{dir}, To: to})
	if c := r.Clips[0]; c.State != Broken || !strings.Contains(c.Error, "pulled out") || !strings.Contains(c.Error, "put it back") || !strings.Contains(c.Error, filepath.Base(sound)) {
		t.Errorf("%s: %q", c.State, c.Error)
	}
	if left := leftovers(t, to); len(left) != 0 {
		t.Errorf("left behind: %q", left)
	}
	settles(t, before)
}
