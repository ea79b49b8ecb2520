package cli

import (
	"os"
	"path/filepath"
	"testing"
)

// What the demo says to run next can be run as it stands.
func TestCalled(t *testing.T) {
	empty := t.TempDir()
	t.Setenv("PATH", empty)
	for self, want := range map[string]string{
		"./earshot":                          "./earshot",
		"/opt/a b/earshot":                   `"/opt/a b/earshot"`,
		"/x/go-build123/b001/exe/earshot":    "go run ./cmd/earshot",
		`C:/Temp/go-build9/b001/exe/cmd.exe`: "go run ./cmd/earshot",
	} {
		if got := called(self); got != want {
			t.Errorf("called(%s) = %s, want %s", self, got, want)
		}
	}
	name := "earshot"
	if os.PathSeparator == '\\' {
		name += ".exe"
	}
	if err := os.WriteFile(filepath.Join(empty, name), []byte("x"), 0o755); err != nil {
		t.Fatal(err)
	}
	if got := called("/elsewhere/earshot"); got != "earshot" {
		t.Errorf("called with earshot on PATH = %s", got)
	}
}
