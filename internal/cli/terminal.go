package cli

import (
	"encoding/json"
	"io"
	"os"
	"strings"
	"sync"
	"time"
	"unicode"

	"earshot/internal/app"
	"earshot/internal/fault"
)

// Everything this program says goes through this file. The rules:
//
//   - Standard output holds what was asked for, and nothing else: tables and
//     sentences, or with --json exactly one document.
//   - Progress, remarks and errors go to standard error.
//   - On a terminal, progress is one line that is written over; elsewhere it
//     is a plain line when a step first begins and then at most every half
//     minute.
//   - An error is one line that starts "earshot: "; what to do next stands on
//     a line of its own under it.
//   - Names of files are escaped before they come here (fault.Escape), so a
//     name can neither break a line nor steer the terminal.
//   - Colour only says again what a word already says. It appears on a
//     terminal only, never with NO_COLOR set or TERM=dumb.
//   - Nothing blinks, beeps, moves the cursor up or clears the screen.
//   - The first failed write to standard output is kept, and ends the run
//     with an error: a full disk must not pass for success.
type terminal struct {
	mu     sync.Mutex
	out    sink
	err    sink
	bar    bar
	shown  bool  // a progress line stands on err
	broken error // first failed write to out
}

// A sink is one of the two streams with what is known about it.
type sink struct {
	w      io.Writer
	live   bool // a terminal
	colour bool
	width  int // cells
}

// The widths text is laid out for.
const (
	plainWidth  = 100 // not a terminal
	narrowWidth = 60
	wideWidth   = 120
)

// A tone is a colour by meaning.
type tone string

// The tones, as SGR parameters of ECMA-48.
const (
	plain  tone = ""
	good   tone = "32"
	doubt  tone = "33"
	bad    tone = "31"
	dim    tone = "2"
	strong tone = "1"
)

func newTerminal(out, err io.Writer, getenv func(string) string) *terminal {
	colour := getenv("NO_COLOR") == "" && getenv("TERM") != "dumb"
	return &terminal{out: newSink(out, colour), err: newSink(err, colour), bar: bar{now: time.Now}}
}

func newSink(w io.Writer, colour bool) sink {
	s := sink{w: w, width: plainWidth}
	if f, ok := w.(*os.File); ok {
		if width, live := terminalWidth(f); live {
			s.live, s.colour = true, colour
			if width > 0 {
				s.width = min(max(width, narrowWidth), wideWidth)
			}
		}
	}
	return s
}

// paint wraps text in a tone where the sink shows colour.
func (s sink) paint(t tone, text string) string {
	if !s.colour || t == plain || text == "" {
		return text
	}
	return "\x1b[" + string(t) + "m" + text + "\x1b[0m"
}

// print writes lines of result to standard output.
func (t *terminal) print(lines ...string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.wipe()
	t.write(strings.Join(lines, "\n") + "\n")
}

// document writes v as the one JSON document on standard output.
func (t *terminal) document(v any) error {
	text, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return &fault.Error{Kind: fault.Internal, Op: "write JSON", Err: err}
	}
	t.print(string(text))
	return nil
}

func (t *terminal) write(text string) {
	if _, err := io.WriteString(t.out.w, text); err != nil && t.broken == nil {
		t.broken = &fault.Error{Kind: fault.Unwritable, Op: "write standard output", Err: err}
	}
}

// say writes a remark to standard error.
func (t *terminal) say(text string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.wipe()
	for _, line := range strings.Split(strings.TrimRight(text, "\n"), "\n") {
		io.WriteString(t.err.w, oneLine(line)+"\n")
	}
}

// fail writes err and its hint to standard error.
func (t *terminal) fail(err error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.wipe()
	io.WriteString(t.err.w, "earshot: "+oneLine(err.Error())+"\n")
	if hint := fault.HintOf(err); hint != "" {
		io.WriteString(t.err.w, t.err.paint(dim, "  "+oneLine(hint))+"\n")
	}
}

// oneLine keeps a message on its line, whatever the cause put into it.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) {
			return ' '
		}
		return r
	}, strings.TrimSpace(s))
}

// progress shows how far the work is.
func (t *terminal) progress(p app.Progress) {
	t.mu.Lock()
	defer t.mu.Unlock()
	line, due := t.bar.tell(p, t.err.live, t.err.width)
	switch {
	case !due:
	case t.err.live:
		// Blanks to the end of the line wipe what stood there.
		io.WriteString(t.err.w, "\r"+pad(line, t.err.width-1, false))
		t.shown = true
	default:
		io.WriteString(t.err.w, line+"\n")
	}
}

// wipe takes the progress line off the terminal before anything else is
// written. The caller holds mu.
func (t *terminal) wipe() {
	if t.shown {
		io.WriteString(t.err.w, "\r"+strings.Repeat(" ", t.err.width-1)+"\r")
		t.shown = false
	}
}

// finish takes the progress line away and returns what went wrong with
// standard output, if anything did.
func (t *terminal) finish() error {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.wipe()
	return t.broken
}
