package web

import (
	"errors"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"earshot/internal/fault"
)

// What is started on each system: one program with one argument more, never a
// line for a shell.
func TestOpening(t *testing.T) {
	const url = "http://127.0.0.1:4711/enter?t=abc"
	dir := filepath.Join(t.TempDir())
	screen := func(name string) string { return map[string]string{"WAYLAND_DISPLAY": "wayland-0"}[name] }
	dark := func(string) string { return "" }
	for _, tt := range []struct {
		system          string
		getenv          func(string) string
		browser, folder []string
	}{
		{"linux", screen, []string{"xdg-open", url}, []string{"xdg-open", dir}},
		{"freebsd", screen, []string{"xdg-open", url}, []string{"xdg-open", dir}},
		{"darwin", dark, []string{"open", url}, []string{"open", dir}},
		{"windows", dark, []string{"rundll32", "url.dll,FileProtocolHandler", url}, []string{"explorer", dir}},
		{"linux", dark, nil, nil},
	} {
		var ran []string
		o := opener{tt.system, tt.getenv, func(name string, args ...string) error {
			ran = append([]string{name}, args...)
			return nil
		}}
		if err := o.browser(url); !slices.Equal(ran, tt.browser) || (err == nil) != (tt.browser != nil) {
			t.Errorf("%s: browser ran %q, %v", tt.system, ran, err)
		} else if err != nil && !strings.Contains(fault.HintOf(err), url) {
			t.Errorf("the hint is %q", fault.HintOf(err))
		}
		ran = nil
		if err := o.folder(dir); !slices.Equal(ran, tt.folder) || (err == nil) != (tt.folder != nil) {
			t.Errorf("%s: folder ran %q, %v", tt.system, ran, err)
		}
		ran = nil
		for _, bad := range []string{"", "https://evil.example", "http://127.0.0.1.evil.example:1/", "-a", "file:///etc/passwd", "http://127.0.0.1@evil.example"} {
			if err := o.browser(bad); fault.KindOf(err) != fault.Usage || ran != nil {
				t.Errorf("%q: %v, ran %q", bad, err, ran)
			}
		}
		for _, bad := range []string{filepath.Join(dir, "none"), ".", "", "-a", "open_test.go"} {
			if err := o.folder(bad); err == nil || ran != nil {
				t.Errorf("%q: %v, ran %q", bad, err, ran)
			}
		}
	}
	failing := opener{"darwin", dark, func(string, ...string) error { return errors.New("no browser") }}
	if err := failing.browser(url); fault.KindOf(err) != fault.Engine || !strings.Contains(err.Error(), "no browser") {
		t.Errorf("%v", err)
	}
}

// A program that cannot be started, or fails at once, is told.
func TestStart(t *testing.T) {
	if err := start(filepath.Join(t.TempDir(), "no such program")); err == nil {
		t.Error("a program that is not there was started")
	}
}
