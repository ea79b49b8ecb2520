package ffmpeg

import (
	"strings"
	"testing"

	"earshot/internal/fault"
)

func TestExplain(t *testing.T) {
	for _, tt := range []struct {
		said, text string
		kind       fault.Kind
	}{
		{"[mov,mp4,m4a,3gp,3g2,mj2 @ 0x55d1f070cbc0] moov atom not found\nfile:/x/a: b.mp4: Invalid data found when processing input", "its index is missing", fault.Unreadable},
		{"av_interleaved_write_frame(): No space left on device", "the disk is full", fault.Unwritable},
		{"[mp4 @ 0x1] Could not find tag for codec prores in stream #0", "cannot hold this picture codec", fault.Unreadable},
		{"", "without saying why", fault.Engine},
		{"[x @ 0x1234] something\n[y @ 0xabc] odd happened\n", "odd happened", fault.Engine},
		{strings.Repeat("z", 5000), "zzz…", fault.Engine},
	} {
		err := explain("read file", "a.mp4", result{code: 1, said: tt.said}, fault.Engine)
		if fault.KindOf(err) != tt.kind || !strings.Contains(err.Error(), tt.text) || len(err.Error()) > 400 {
			t.Errorf("%.60q: got %v of kind %d", tt.said, err, fault.KindOf(err))
		}
	}
}

// A file's name must not pass for what went wrong with it.
func TestExplainName(t *testing.T) {
	name := "/x/no space left on device.mp4"
	err := explain("read file", name, result{code: 1, said: "file:" + name + ": Invalid data found when processing input"}, fault.Unreadable)
	if fault.KindOf(err) != fault.Unreadable || strings.Contains(err.Error(), "full") {
		t.Errorf("got %v", err)
	}
}

// A flood of complaints keeps its beginning and its end.
func TestTail(t *testing.T) {
	var small, large tail
	small.Write([]byte("one\n"))
	small.Write([]byte("two\n"))
	if small.String() != "one\ntwo\n" {
		t.Errorf("got %q", small.String())
	}
	large.Write([]byte("first\n"))
	for range 100000 {
		large.Write([]byte("the same complaint again\n"))
	}
	large.Write([]byte("last\n"))
	s := large.String()
	if len(s) > 2*tailKeep+10 || !strings.HasPrefix(s, "first\n") || !strings.HasSuffix(s, "last\n") {
		t.Errorf("kept %d bytes from %q to %q", len(s), s[:10], s[len(s)-10:])
	}
}
