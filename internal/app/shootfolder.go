package app

import (
	"errors"
	"os"
	"path/filepath"
	"time"

	"earshot/internal/fault"
	"earshot/internal/store"
)

// ShootFolder is where a shoot's state lies: where a person asked for; else the
// present folder, where paths are given or a shoot is kept there already; else a
// folder of the day's date in the folder Earshot of their home.
func ShootFolder(asked string, paths []string, today time.Time) (string, error) {
	if asked != "" {
		return filepath.Abs(asked)
	}
	here, err := os.Getwd()
	if err == nil && (len(paths) > 0 || store.HasShoot(here)) {
		return here, nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", &fault.Error{Kind: fault.Usage, Op: "find a folder for the shoot", Err: errors.New("this system names no home"), Hint: "name one with --shoot"}
	}
	return filepath.Join(home, "Earshot", today.Format("2006-01-02")), nil
}
