package ffmpeg

import (
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"earshot/internal/fault"
)

func TestReadVersion(t *testing.T) {
	for _, tt := range []struct{ text, version, unfit string }{
		{"ffmpeg version 5.1.9-0+deb12u1 Copyright (c) 2000-2026 the FFmpeg developers", "5.1.9-0+deb12u1", ""},
		{"ffmpeg version n7.1 Copyright", "n7.1", ""},
		{"ffmpeg version N-118000-g0123abc Copyright", "N-118000-g0123abc", ""},
		{"ffmpeg version 4.4.2-0ubuntu0.22.04.1 Copyright", "4.4.2-0ubuntu0.22.04.1", "older than 5.0"},
		{"ffmpeg version mine", "mine", "not understood"},
		{"something else", "", "does not say"},
	} {
		version, unfit := readVersion(tt.text)
		if version != tt.version || (tt.unfit == "") != (unfit == "") || !strings.Contains(unfit, tt.unfit) {
			t.Errorf("%q: got %q, %q", tt.text, version, unfit)
		}
	}
}

// stub puts programs called ffmpeg and ffprobe first in the search path.
func stub(t *testing.T, script string) {
	t.Helper()
	if runtime.GOOS == "windows" {
		t.Skip("needs shell scripts")
	}
	dir := t.TempDir()
	for _, name := range []string{"ffmpeg", "ffprobe"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("#!/bin/sh\n"+script), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	t.Setenv("PATH", dir+string(os.PathListSeparator)+os.Getenv("PATH"))
}

// A native ffmpeg that is too old or lacks parts is passed over, and says why.
func TestUnfitNative(t *testing.T) {
	for name, tt := range map[string]struct{ script, why string }{
		"old":    {"echo ffmpeg version 4.2.7 Copyright\n", "older than 5.0"},
		"bare":   {"echo ffmpeg version 6.0 Copyright\n", "it lacks demuxer mov"},
		"broken": {"exit 3\n", "does not run"},
	} {
		t.Run(name, func(t *testing.T) {
			stub(t, tt.script)
			cache := t.TempDir()
			for range 2 { // the second time from what was found out
				e, err := Open(Options{CacheDir: cache})
				if err != nil {
					t.Fatal(err)
				}
				about, err := e.About(t.Context())
				if err != nil || about.Name != "embedded" || len(about.Notes) != 1 || !strings.Contains(about.Notes[0], tt.why) {
					t.Errorf("got %+v, %v; want the embedded engine and a note with %q", about, err, tt.why)
				}
				e.Close()
			}
			e, err := Open(Options{Choice: "native", CacheDir: cache})
			if err != nil {
				t.Fatal(err)
			}
			_, err = e.Probe(t.Context(), "check_test.go")
			if fault.KindOf(err) != fault.Engine || fault.HintOf(err) == "" || !strings.Contains(err.Error(), tt.why) {
				t.Errorf("got error %v, want kind Engine with a hint", err)
			}
		})
	}
}

func TestOpenChoice(t *testing.T) {
	if _, err := Open(Options{Choice: "wooden"}); fault.KindOf(err) != fault.Usage {
		t.Errorf("got error %v, want kind Usage", err)
	}
}
