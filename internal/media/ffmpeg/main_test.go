package ffmpeg

import (
	"os"
	"testing"
)

func TestMain(m *testing.M) {
	if handled, code := ChildMain(os.Args); handled {
		os.Exit(code)
	}
	os.Exit(m.Run())
}
