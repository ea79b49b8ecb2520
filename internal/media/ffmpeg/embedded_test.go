package ffmpeg

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"earshot/internal/fault"
	"earshot/internal/media"
)

// testCache keeps the compiled engine between test runs, since compiling takes
// several seconds.
func testCache(t *testing.T) string {
	t.Helper()
	dir, err := os.UserCacheDir()
	if err != nil {
		return t.TempDir()
	}
	return filepath.Join(dir, "earshot-test")
}

func openEmbedded(t *testing.T) *Engine {
	t.Helper()
	if testing.Short() {
		t.Skip("the embedded engine takes its time")
	}
	e, err := Open(Options{Choice: "embedded", CacheDir: testCache(t), Say: func(s string) { t.Log(s) }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { e.Close() })
	return e.(*Engine)
}

// ramp writes seconds of a ramp, 48 kHz mono, with the engine itself.
func ramp(t *testing.T, e media.Engine, seconds int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "ramp.wav")
	one := make([]byte, 4*48000)
	for i := range one {
		one[i] = byte(i>>8) & 0x3e // small floats, whatever they are
	}
	err := e.Encode(t.Context(), media.Encode{Out: path, Container: "wav",
		Sound: &media.EncodeSound{Codec: "pcm_f32le", Rate: 48000, Channels: 1, Samples: bytes.NewReader(bytes.Repeat(one, seconds))}})
	if err != nil {
		t.Fatal(err)
	}
	return path
}

func (e *Engine) currentLink(t *testing.T) *link {
	t.Helper()
	em := e.runner.(*embedded)
	em.mu.Lock()
	defer em.mu.Unlock()
	return em.link
}

// A child that is killed takes its jobs with it as an Engine fault that wraps
// ErrDied, never the program; the next job starts another child.
func TestChildDies(t *testing.T) {
	e := openEmbedded(t)
	path := ramp(t, e, 60)
	err := e.Decode(t.Context(), media.Decode{Path: path}, func([]float32) error {
		e.currentLink(t).kill()
		return nil
	})
	if !errors.Is(err, ErrDied) || fault.KindOf(err) != fault.Engine {
		t.Errorf("got error %v, want one of kind Engine that wraps ErrDied", err)
	}
	if _, err := e.Probe(t.Context(), path); err != nil {
		t.Errorf("after the death: %v", err)
	}
	// A probe may be asked again without harm, so it survives a death.
	l := e.currentLink(t)
	go l.kill()
	for range 3 {
		if _, err := e.Probe(t.Context(), path); err != nil {
			t.Errorf("probe across a death: %v", err)
		}
	}
}

// Cancelling one job leaves the child and the other jobs alone.
func TestCancelSparesOthers(t *testing.T) {
	e := openEmbedded(t)
	path := ramp(t, e, 120)
	before := func() *link { _, _ = e.Probe(t.Context(), path); return e.currentLink(t) }()
	var wg sync.WaitGroup
	for i := range 3 {
		wg.Go(func() {
			n := 0
			err := e.Decode(t.Context(), media.Decode{Path: path}, func(b []float32) error { n += len(b); return nil })
			if err != nil || n != 120*48000 {
				t.Errorf("decode %d: %d samples, %v", i, n, err)
			}
		})
	}
	for range 5 {
		ctx, cancel := context.WithCancel(t.Context())
		err := e.Decode(ctx, media.Decode{Path: path}, func([]float32) error { cancel(); return nil })
		if !errors.Is(err, context.Canceled) {
			t.Errorf("got error %v, want a cancelled context's", err)
		}
	}
	wg.Wait()
	if e.currentLink(t) != before {
		t.Error("cancelling a job cost the others their process")
	}
}

// Closing while jobs run ends them and leaves no process.
func TestCloseEndsJobs(t *testing.T) {
	e := openEmbedded(t)
	path := ramp(t, e, 60)
	err := e.Decode(t.Context(), media.Decode{Path: path}, func([]float32) error {
		return e.Close()
	})
	if err == nil {
		t.Error("the job went on after the engine was closed")
	}
	if l := e.currentLink(t); l.cmd.ProcessState == nil {
		t.Error("the engine's process is still there")
	}
	if _, err := e.Probe(t.Context(), path); err == nil {
		t.Error("a closed engine still works")
	}
}

// Compiled code that is not what was compiled is thrown away and made anew.
func TestBrokenCache(t *testing.T) {
	if testing.Short() {
		t.Skip("compiles the engine")
	}
	cache := t.TempDir()
	var said []string
	probe := func() error {
		e, err := Open(Options{Choice: "embedded", CacheDir: cache, Say: func(s string) { said = append(said, s) }})
		if err != nil {
			return err
		}
		defer e.Close()
		_, err = e.Probe(t.Context(), "testdata/args")
		if fault.KindOf(err) != fault.Unreadable {
			return fmt.Errorf("probing a folder: %w", err)
		}
		path := filepath.Join(t.TempDir(), "x.wav")
		return e.Encode(t.Context(), media.Encode{Out: path, Sound: &media.EncodeSound{Codec: "pcm_s16le", Rate: 8000, Channels: 1,
			Samples: bytes.NewReader(make([]byte, 400))}})
	}
	if err := probe(); err != nil {
		t.Fatal(err)
	}
	if err := probe(); err != nil || len(said) != 1 {
		t.Fatalf("second start: %v; said %q, want one line in all", err, said)
	}
	code := filepath.Join(engineDir(cache), "code")
	err := filepath.WalkDir(code, func(p string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(p)
		if err != nil {
			return err
		}
		b[len(b)/2] ^= 1
		return os.WriteFile(p, b[:len(b)-9], 0o600)
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := probe(); err != nil || len(said) != 2 {
		t.Errorf("with broken code: %v; said %q, want a second line", err, said)
	}
}

// Where nothing can be kept the engine works all the same.
func TestNoCache(t *testing.T) {
	if testing.Short() {
		t.Skip("compiles the engine")
	}
	blocked := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(blocked, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	var said []string
	e, err := Open(Options{Choice: "embedded", CacheDir: filepath.Join(blocked, "no"), Say: func(s string) { said = append(said, s) }})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	if ramp(t, e, 1); len(said) != 2 || !strings.Contains(said[1], "cannot be kept") {
		t.Errorf("said %q", said)
	}
}

// A program that does not call ChildMain must get an error, not a storm of
// processes: a child that is asked to start a child refuses.
func TestNoChildOfAChild(t *testing.T) {
	t.Setenv(childEnv, "1")
	e, err := Open(Options{Choice: "embedded", CacheDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	_, err = e.Probe(t.Context(), "embedded_test.go")
	if fault.KindOf(err) != fault.Engine {
		t.Errorf("got error %v, want kind Engine", err)
	}
}

func TestChildMainArguments(t *testing.T) {
	for _, args := range [][]string{nil, {"earshot"}, {"earshot", "pair", "x"}, {"earshot", "--help"}, {"earshot", childArg}} {
		if handled, _ := ChildMain(args); handled {
			t.Errorf("%q was taken for the engine's process", args)
		}
	}
	if handled, code := ChildMain([]string{"earshot", childArg, "dance"}); !handled || code == 0 {
		t.Errorf("an unknown order: handled %v, exit status %d", handled, code)
	}
}

// The child ends when its standard input does, which is what it sees of the
// parent's death, even with a job under way.
func TestChildEndsWithParent(t *testing.T) {
	e := openEmbedded(t)
	path := ramp(t, e, 60)
	ended := false
	err := e.Decode(t.Context(), media.Decode{Path: path}, func([]float32) error {
		if ended {
			return nil
		}
		ended = true
		l := e.currentLink(t)
		if err := l.out.w.(io.Closer).Close(); err != nil {
			t.Error(err)
		}
		select {
		case <-l.gone:
		case <-time.After(10 * time.Second):
			t.Error("the child lives on without its parent")
			l.kill()
		}
		return nil
	})
	if !errors.Is(err, ErrDied) {
		t.Errorf("got error %v, want ErrDied", err)
	}
}
