package ffmpeg

import (
	"strings"
	"testing"
)

func TestMissingBytes(t *testing.T) {
	const head = "\x00\x00\x00\x10ftypqt  \x00\x00\x00\x00"
	for name, tt := range map[string]struct {
		file string
		want int64
	}{
		"whole":           {head + "\x00\x00\x00\x0cmdatabcd\x00\x00\x00\x08moov", 0},
		"cut off":         {head + "\x00\x00\x00\x08moov\x00\x00\x00\x20mdatabcd", 20},
		"64-bit cut off":  {head + "\x00\x00\x00\x01mdat\x00\x00\x00\x00\x00\x00\x00\x20abcd", 12},
		"to the end":      {head + "\x00\x00\x00\x00mdatabcd", 0},
		"rubbish after":   {head + "\x00\x00\x00\x02??", 0},
		"bytes left over": {head + "abc", 0},
		"empty":           {"", 0},
	} {
		if got := missingBytes(strings.NewReader(tt.file), int64(len(tt.file))); got != tt.want {
			t.Errorf("%s: %d bytes are missing, want %d", name, got, tt.want)
		}
	}
}

func FuzzMissingBytes(f *testing.F) {
	f.Add("\x00\x00\x00\x10ftypqt  \x00\x00\x00\x00\x00\x00\x00\x20mdatabcd")
	f.Fuzz(func(t *testing.T, s string) {
		if n := missingBytes(strings.NewReader(s), int64(len(s))); n < 0 {
			t.Errorf("%d bytes are missing", n)
		}
	})
}
