package mediatest

import (
	"os"
	"testing"

	"earshot/internal/media"
	"earshot/internal/media/ffmpeg"
)

func TestMain(m *testing.M) {
	if handled, code := ffmpeg.ChildMain(os.Args); handled {
		os.Exit(code)
	}
	os.Exit(m.Run())
}

func TestFake(t *testing.T) {
	Suite(t, func(t *testing.T) media.Engine { return &Fake{} })
}

// reference reports whether the reference programs must be there.
func reference() bool { return os.Getenv("EARSHOT_REFERENCE") == "1" }

func TestNative(t *testing.T) {
	e, err := ffmpeg.Open(ffmpeg.Options{Choice: "native", CacheDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := e.About(t.Context()); err != nil && !reference() {
		t.Skip("no native ffmpeg: ", err)
	}
	Suite(t, func(t *testing.T) media.Engine { return e })
}

// The embedded engine's compiled code is kept between runs in a folder of its
// own, since compiling takes several seconds.
func TestEmbedded(t *testing.T) {
	if testing.Short() {
		t.Skip("the embedded engine takes its time")
	}
	dir, err := os.UserCacheDir()
	if err != nil {
		dir = t.TempDir()
	}
	e, err := ffmpeg.Open(ffmpeg.Options{Choice: "embedded", CacheDir: dir + "/earshot-test", Say: func(s string) { t.Log(s) }})
	if err != nil {
		t.Fatal(err)
	}
	Suite(t, func(t *testing.T) media.Engine { return e })
}
