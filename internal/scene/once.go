package scene

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
)

// Once makes the file out unless it is there: what took long to make is kept for
// the next run. Nothing is left where making fails.
func Once(out string, make func() error) error {
	if _, err := os.Stat(out); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(out), 0o777); err != nil {
		return err
	}
	err := make()
	if err != nil {
		os.Remove(out)
	}
	return err
}

// LinkOnce lets a file stand under a second name too, unless something does.
func LinkOnce(from, to string) error { return Once(to, func() error { return os.Link(from, to) }) }
