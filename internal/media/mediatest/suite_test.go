package mediatest

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
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

// MediaInfo, which shares no code with FFmpeg, must see the good sound as the
// sound to play, under its name, and the timecode.
func TestMediaInfoAgrees(t *testing.T) {
	if _, err := exec.LookPath("mediainfo"); err != nil && !reference() {
		t.Skip("no mediainfo: ", err)
	}
	if testing.Short() {
		t.Skip("the embedded engine takes its time")
	}
	e, err := ffmpeg.Open(ffmpeg.Options{CacheDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	s := &suite{engine: e}
	t.Cleanup(func() { e.Close() })
	dir := t.TempDir()
	path, out := filepath.Join(dir, "clip.mov"), filepath.Join(dir, "out.mov")
	enc := camera.encode(path)
	enc.Tags = map[string]string{"timecode": "01:00:00:00"}
	if err := e.Encode(t.Context(), enc); err != nil {
		t.Fatal(err)
	}
	good, _ := clickRecording(48000, 1)
	if err := e.Render(t.Context(), s.plan(t, path, out), bytes.NewReader(Bytes(good))); err != nil {
		t.Fatal(err)
	}
	text, err := exec.Command("mediainfo", "--Output=JSON", out).Output()
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Media struct {
			Track []map[string]any
		}
	}
	if err := json.Unmarshal(text, &doc); err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, track := range doc.Media.Track {
		switch track["@type"] {
		case "Audio":
			title, _ := track["Title"].(string)
			title, _, _ = strings.Cut(title, " / ")
			got = append(got, title+" "+track["Format"].(string)+" "+track["Default"].(string))
		case "Other":
			got = append(got, track["Type"].(string)+" "+track["TimeCode_FirstFrame"].(string))
		}
	}
	if want := "Good sound PCM Yes, Scratch AAC No, Time code 01:00:00:00"; strings.Join(got, ", ") != want {
		t.Errorf("MediaInfo sees %q, want %q", got, want)
	}
}
