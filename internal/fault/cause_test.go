package fault

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
)

// What the standard library's calls say, without the path.
func TestCause(t *testing.T) {
	dir := t.TempDir()
	_, open := os.Open(filepath.Join(dir, "none"))
	rename := os.Rename(filepath.Join(dir, "none"), filepath.Join(dir, "other"))
	plain := errors.New("plain")
	for _, err := range []error{open, rename, fmt.Errorf("around it: %w", open)} {
		got := Cause(err)
		if !errors.Is(got, fs.ErrNotExist) || got.Error() == err.Error() {
			t.Errorf("Cause(%v) = %v", err, got)
		}
	}
	if Cause(plain) != plain || Cause(nil) != nil {
		t.Error("an error without a path does not come back as it is")
	}
}
