//go:build !unix && !windows

package cli

import "os"

// terminalWidth knows no terminals on this system: output is plain.
func terminalWidth(*os.File) (int, bool) { return 0, false }
