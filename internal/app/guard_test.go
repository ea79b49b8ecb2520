package app

import (
	"errors"
	"strings"
	"testing"

	"earshot/internal/fault"
)

// A mistake while working on one file becomes that file's error.
func TestGuarded(t *testing.T) {
	var list []int
	err := guarded("a.mov", func() error { list[3] = 1; return nil })
	if fault.KindOf(err) != fault.Internal || !strings.Contains(err.Error(), `"a.mov"`) || fault.HintOf(err) == "" {
		t.Errorf("guarded = %v, want an internal error that names the file and says what to do", err)
	}
	want := errors.New("as it is")
	if err := guarded("a.mov", func() error { return want }); err != want {
		t.Errorf("guarded = %v, want %v", err, want)
	}
}
