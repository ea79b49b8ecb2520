package ffmpeg

import (
	"errors"
	"regexp"
	"strings"

	"earshot/internal/fault"
)

// ErrDied is in the chain of every error that means the engine's process
// ended under a job: the job may be asked for again.
var ErrDied = errors.New("the media engine died")

// errStalled ends a job that makes no progress.
var errStalled = errors.New("the media engine made no progress for two minutes")

func died(err error, said string) error {
	e := &fault.Error{Kind: fault.Engine, Op: "run the media engine", Err: ErrDied,
		Hint: "try again; if it dies again on the same file, the file may be damaged or memory may be short"}
	why := lastLine(said)
	if err != nil {
		why = err.Error()
	}
	if why != "" {
		e.Err = &because{ErrDied, why}
	}
	return e
}

// because is an error with a reason in words.
type because struct {
	error
	why string
}

func (b *because) Error() string { return b.error.Error() + " (" + b.why + ")" }
func (b *because) Unwrap() error { return b.error }

// A saying is what the engine writes and what it means for a person.
type saying struct {
	pattern string // in lower case
	kind    fault.Kind
	text    string
	hint    string
}

var sayings = []saying{
	{"moov atom not found", fault.Unreadable, "the file was not closed properly or is cut off: its index is missing",
		"the camera may mend it when the card is put back in; otherwise copy it from the card again"},
	{"no space left on device", fault.Unwritable, "the disk is full", "free some space or choose another folder"},
	{"not enough space on the disk", fault.Unwritable, "the disk is full", "free some space or choose another folder"},
	{"disk quota exceeded", fault.Unwritable, "the disk quota is used up", "free some space or choose another folder"},
	{"read-only file system", fault.Unwritable, "the disk cannot be written to", "choose another folder"},
	{"permission denied", fault.Unreadable, "access is refused", "check the file's permissions"},
	{"input/output error", fault.Unreadable, "the disk could not read it", "copy the file from the card again"},
	{"i/o error", fault.Unreadable, "the disk could not read it", "copy the file from the card again"},
	{"could not find tag for codec", fault.Unreadable, "the container cannot hold this picture codec",
		"use the default container, mov"},
	{"cannot allocate memory", fault.Engine, "memory ran out", "close other programs and try again"},
	{"file too large", fault.Unwritable, "the disk's file system cannot hold a file that large", "choose another disk"},
	{"invalid data found when processing input", fault.Unreadable, "it is damaged or no picture or sound file that is known here",
		"check that the file is whole and plays"},
	{"end of file", fault.Unreadable, "it ends before anything useful", "check that the file was copied whole"},
	{"format not on whitelist", fault.Unreadable, "it is no picture or sound file of a kind that is read here",
		"give camera clips or sound recordings"},
}

// explain turns what the engine said into an Error.
func explain(op, subject string, r result, kind fault.Kind) error {
	r.said = strings.ReplaceAll(r.said, subject, "") // a name must not pass for a reason
	low := strings.ToLower(r.said)
	for _, s := range sayings {
		if strings.Contains(low, s.pattern) {
			return &fault.Error{Kind: s.kind, Op: op, Subject: subject, Err: errors.New(s.text), Hint: s.hint}
		}
	}
	text := lastLine(r.said)
	if text == "" {
		text = "the media engine gave up without saying why"
	}
	hint := "check that the file is whole and plays"
	if kind == fault.Unwritable {
		hint = "see that the folder can be written to and has room; another folder may do"
	} else if strings.EqualFold(text, "invalid argument") {
		text = "its beginning makes no sense"
	}
	return &fault.Error{Kind: kind, Op: op, Subject: subject, Err: errors.New(text), Hint: hint}
}

var prefix = regexp.MustCompile(`^\[[^\]]* @ 0?x?[0-9a-f]+\] `)

// lastLine returns the last line of said that holds anything, without the
// engine's own decoration and bounded in length.
func lastLine(said string) string {
	lines := strings.Split(strings.TrimSpace(said), "\n")
	text := strings.TrimSpace(prefix.ReplaceAllString(lines[len(lines)-1], ""))
	if i := strings.LastIndex(text, "file:/"); i >= 0 {
		if j := strings.LastIndex(text, ": "); j > i {
			text = text[j+2:]
		}
	}
	if len(text) > 200 {
		text = strings.ToValidUTF8(text[:200], "") + "…"
	}
	return fault.Escape(text)
}
