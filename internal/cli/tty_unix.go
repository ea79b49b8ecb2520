//go:build unix

package cli

import (
	"os"

	"golang.org/x/sys/unix"
)

// terminalWidth returns the width of the terminal f writes to, in cells, and
// whether f is a terminal at all. Width 0 means the terminal does not say.
func terminalWidth(f *os.File) (int, bool) {
	size, err := unix.IoctlGetWinsize(int(f.Fd()), unix.TIOCGWINSZ)
	if err != nil {
		return 0, false
	}
	return int(size.Col), true
}
