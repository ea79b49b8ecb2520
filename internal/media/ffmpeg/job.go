package ffmpeg

import (
	"context"
	"io"
	"path/filepath"
)

// An access says whether a word is a path, and what for.
type access int

const (
	plain  access = iota // no path
	reads                // a file to read
	writes               // a file to write
)

// A word is one argument: plain text, or the path of a file, which each
// runner spells its own way.
type word struct {
	text string
	use  access
}

// words turns plain texts into words.
func words(texts ...string) []word {
	out := make([]word, len(texts))
	for i, t := range texts {
		out[i] = word{text: t}
	}
	return out
}

// A job is one run of a tool.
type job struct {
	tool   string // "ffmpeg" or "ffprobe"
	words  []word
	stdin  io.Reader            // nil: nothing
	stdout func(b []byte) error // nil: thrown away; b is only valid during the call
	again  bool                 // harmless to run a second time if the engine dies
}

// A result is how a job ended by itself.
type result struct {
	code int    // exit status
	said string // what it wrote to stderr, bounded
}

// A runner runs jobs. Its error says that the tool could not be run to its
// end: the engine is missing or died, ctx was cancelled, or the error of
// job.stdout or job.stdin, returned as it is.
type runner interface {
	ready(ctx context.Context) error // prepares what jobs need, which may take long
	run(ctx context.Context, j job) (result, error)
	name() string // "native" or "embedded"
	close() error
}

// absolute makes the paths in ws absolute.
func absolute(ws []word) ([]word, error) {
	out := make([]word, len(ws))
	for i, w := range ws {
		if w.use != plain {
			abs, err := filepath.Abs(w.text)
			if err != nil {
				return nil, err
			}
			w.text = abs
		}
		out[i] = w
	}
	return out, nil
}

// spell turns words into arguments, giving paths to the function path.
func spell(ws []word, path func(p string) string) []string {
	out := make([]string, len(ws))
	for i, w := range ws {
		out[i] = w.text
		if w.use != plain {
			out[i] = "file:" + path(w.text)
		}
	}
	return out
}

// A tail keeps the first and the last part of a flood of text.
type tail struct {
	head, end []byte
	dropped   bool
}

const tailKeep = 8 << 10 // bytes kept of each end

// Write never fails.
func (t *tail) Write(b []byte) (int, error) {
	n := len(b)
	if room := tailKeep - len(t.head); room > 0 {
		k := min(room, len(b))
		t.head = append(t.head, b[:k]...)
		b = b[k:]
	}
	if len(b) > tailKeep {
		b, t.dropped = b[len(b)-tailKeep:], true
	}
	t.end = append(t.end, b...)
	if over := len(t.end) - tailKeep; over > 0 {
		t.end, t.dropped = append(t.end[:0], t.end[over:]...), true
	}
	return n, nil
}

func (t *tail) String() string {
	if t.dropped {
		return string(t.head) + "\n…\n" + string(t.end)
	}
	return string(t.head) + string(t.end)
}
