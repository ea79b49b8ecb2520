package cli

import (
	"os"

	"golang.org/x/sys/windows"
)

// terminalWidth returns the width of the console f writes to, in cells, and
// whether f is a console at all. It asks the console to understand colour.
func terminalWidth(f *os.File) (int, bool) {
	handle := windows.Handle(f.Fd())
	var mode uint32
	if windows.GetConsoleMode(handle, &mode) != nil {
		return 0, false
	}
	if windows.SetConsoleMode(handle, mode|windows.ENABLE_VIRTUAL_TERMINAL_PROCESSING) != nil {
		return 0, false // an old console: treat it as plain output
	}
	var info windows.ConsoleScreenBufferInfo
	if windows.GetConsoleScreenBufferInfo(handle, &info) != nil {
		return 0, true
	}
	return int(info.Window.Right-info.Window.Left) + 1, true
}
