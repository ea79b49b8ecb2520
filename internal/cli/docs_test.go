package cli

import (
	"context"
	"os"
	"regexp"
	"strings"
	"testing"

	"earshot/internal/app"
)

// Every command line shown in help, in the README and in the desk's guide is
// understood: it may fail for want of the files, never for how it is called.
func TestExamplesAreUnderstood(t *testing.T) {
	var text string
	for _, name := range []string{"README.md", "docs/desk-guide.md"} {
		page, err := os.ReadFile("../../" + name)
		if err != nil {
			t.Fatal(err)
		}
		text += string(page)
	}
	for _, cmd := range []string{"demo", "desk", "marry", "pair", "prove", "doctor", "completion"} {
		_, help, _ := run(context.Background(), &fake{}, cmd, "--help")
		_, examples, _ := strings.Cut(help, "examples\n")
		text += examples
	}
	lines := regexp.MustCompile("(?m)(?:^ *|`)(?:\\./|go run \\./cmd/)?earshot ([^`\n]*)").FindAllStringSubmatch(text, -1)
	if len(lines) < 15 {
		t.Fatalf("only %d command lines found", len(lines))
	}
	for _, line := range lines {
		words, _, _ := strings.Cut(line[1], "#")
		words, _, _ = strings.Cut(words, ">")
		args := strings.Fields(words)
		if len(args) == 0 || args[0] == "COMMAND" {
			continue
		}
		f := &fake{demo: &app.DemoResult{Right: true}, health: &app.Health{}}
		if status, _, stderr := run(context.Background(), f, args...); status == exitUsage {
			t.Errorf("earshot %s is not understood: %s", words, stderr)
		}
	}
}
