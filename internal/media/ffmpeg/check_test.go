package ffmpeg

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"earshot/internal/fault"
	"earshot/internal/media"
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

// An engine that does nothing is ended, whatever it was asked.
func TestStall(t *testing.T) {
	stub(t, "sleep 60 & wait\n")
	e := &Engine{stall: 200 * time.Millisecond, runner: &native{ffmpeg: "ffmpeg", ffprobe: "ffprobe"}}
	_, err := e.Probe(t.Context(), "check_test.go")
	if !errors.Is(err, errStalled) || fault.KindOf(err) != fault.Unreadable || !strings.Contains(err.Error(), "check_test.go") {
		t.Errorf("got error %v, want a stall that names the file", err)
	}
	// Time that our own side takes does not count.
	stub(t, "for i in 1 2 3; do echo x; done\n")
	n := 0
	_, err = e.run(t.Context(), job{tool: "ffmpeg", stdout: func(b []byte) error {
		time.Sleep(500 * time.Millisecond)
		n += len(b)
		return nil
	}}, "")
	if err != nil || n != 6 {
		t.Errorf("a slow taker: %d bytes, %v", n, err)
	}
}

// Closing a native engine ends its jobs too, and a cancelled context's own
// error comes back whatever its cause.
func TestNativeEnds(t *testing.T) {
	stub(t, "echo started; sleep 60 & wait\n")
	open := func() *Engine {
		return &Engine{stall: time.Minute, closed: make(chan struct{}), runner: &native{ffmpeg: "ffmpeg", ffprobe: "ffprobe"}}
	}
	e := open()
	time.AfterFunc(100*time.Millisecond, func() { e.Close() })
	if _, err := e.Probe(t.Context(), "check_test.go"); !errors.Is(err, errClosed) {
		t.Errorf("closed: got error %v", err)
	}
	ctx, cancel := context.WithCancelCause(t.Context())
	time.AfterFunc(100*time.Millisecond, func() { cancel(errors.New("a reason")) })
	if _, err := open().Probe(ctx, "check_test.go"); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: got error %v", err)
	}
}

func TestCheckPlan(t *testing.T) {
	good := media.Plan{Clip: "a.mov", Out: "b.mov", Container: "mov", Info: phone, Sound: media.Track{Codec: "pcm_s24le", Rate: 48000, Channels: 1}}
	for name, tt := range map[string]struct {
		change func(*media.Plan)
		kind   fault.Kind
	}{
		"avi":         {func(p *media.Plan) { p.Container = "avi" }, fault.Usage},
		"pcm in mp4":  {func(p *media.Plan) { p.Container = "mp4" }, fault.Usage},
		"mp3":         {func(p *media.Plan) { p.Sound.Codec = "mp3" }, fault.Usage},
		"no picture":  {func(p *media.Plan) { p.Info.Pictures = nil }, fault.Unreadable},
		"no rate":     {func(p *media.Plan) { p.Sound.Rate = 0 }, fault.Internal},
		"odd picture": {func(p *media.Plan) { p.Info.Pictures = []media.Picture{{Codec: "theora"}} }, fault.Usage},
		"prores in mp4": {func(p *media.Plan) {
			p.Container, p.Sound.Codec, p.Info.Pictures = "mp4", "aac", []media.Picture{{Codec: "prores"}}
		}, fault.Usage},
	} {
		plan := good
		tt.change(&plan)
		if err := checkPlan("write clip", plan); err == nil || fault.KindOf(err) != tt.kind {
			t.Errorf("%s: got error %v", name, err)
		}
	}
	if err := checkPlan("write clip", good); err != nil {
		t.Error(err)
	}
}
