package cli

import (
	"path/filepath"
	"strings"

	"earshot/internal/fault"
	"earshot/internal/shoot"
)

// A row is one recording pair in a table: a line of columns, and under it
// what there is to say in words.
type row struct {
	clip, sound, offset, drift, word string
	tone                             tone // of word
	below                            []string
}

// The most lines of reasons under one row; JSON and report hold them all.
const whyLines = 3

// table lays rows out for s, names cut in the middle where the columns do not
// fit its width.
func table(s sink, last string, rows []row) []string {
	all := append([]row{{clip: "clip", sound: "sound", offset: "offset", drift: "drift", word: last}}, rows...)
	var w [5]int // clip, sound, offset, drift, word
	for _, r := range all {
		for i, text := range []string{r.clip, r.sound, r.offset, r.drift, r.word} {
			w[i] = max(w[i], cells(text))
		}
	}
	room := s.width - 1 - 2 - w[2] - w[3] - w[4] - 4*2
	w[0], w[1] = share(room, w[0], w[1])

	var lines []string
	for i, r := range all {
		head := "  " + pad(cut(r.clip, w[0]), w[0], false) +
			"  " + pad(cut(r.sound, w[1]), w[1], false) +
			"  " + pad(r.offset, w[2], true) +
			"  " + pad(r.drift, w[3], true) + "  "
		if i == 0 {
			lines = append(lines, s.paint(dim, head+r.word))
			continue
		}
		lines = append(lines, head+s.paint(r.tone, r.word))
		for _, text := range r.below {
			lines = append(lines, reasons(s, text)...)
		}
	}
	return lines
}

// reasons wraps text under a row.
func reasons(s sink, text string) []string {
	lines := wrap(text, s.width-11)
	if len(lines) > whyLines {
		lines = lines[:whyLines]
		lines[whyLines-1] += " ..."
	}
	for i, line := range lines {
		lines[i] = "      " + s.paint(dim, line)
	}
	return lines
}

// failure is a recording's error without the name, which stands above it.
func failure(x shoot.Failed) string {
	if _, why, ok := strings.Cut(x.Error, fault.Quote(x.Path)+": "); ok {
		return oneLine(why)
	}
	return oneLine(x.Error)
}

// share divides room between two columns that would like a and b cells.
func share(room, a, b int) (int, int) {
	room = max(room, 12)
	if a+b <= room {
		return a, b
	}
	half := room / 2
	switch {
	case a <= half:
		return a, room - a
	case b <= half:
		return room - b, b
	}
	return room - half, half
}

// names returns how to show each path: the file's own name, with its folder
// in front where two different files have the same.
func names(paths []string) func(string) string {
	first := map[string]string{}
	twice := map[string]bool{}
	for _, p := range paths {
		base := filepath.Base(p)
		if q, ok := first[base]; ok && filepath.Clean(q) != filepath.Clean(p) {
			twice[base] = true
		}
		first[base] = p
	}
	return func(p string) string {
		if p == "" {
			return "-"
		}
		base := filepath.Base(p)
		if twice[base] {
			return fault.Escape(filepath.ToSlash(filepath.Join(filepath.Base(filepath.Dir(p)), base)))
		}
		return fault.Escape(base)
	}
}

// takeRow fills the measured columns of a row from a take.
func takeRow(t shoot.Take, name func(string) string) row {
	r := row{clip: name(t.Clip), sound: name(t.Sound), offset: place(t.Offset), drift: ppm(t.Drift), word: string(t.Verdict)}
	if t.DriftFrom == shoot.FromNone {
		r.drift = "-"
	}
	r.tone = verdictTone(t.Verdict)
	return r
}

func verdictTone(v shoot.Verdict) tone {
	switch v {
	case shoot.Sure:
		return good
	case shoot.Unsure:
		return doubt
	}
	return plain
}

// because joins reasons into one line of text.
func because(why []string) string {
	clean := make([]string, len(why))
	for i, w := range why {
		clean[i] = oneLine(w)
	}
	return strings.Join(clean, "; ")
}

// covers says which parts of the clip the sound covers, when they are several
// with a second and more between them: what is less is told among the reasons.
func covers(spans []shoot.Span) string {
	const apart = 1.0 // seconds
	var joined []shoot.Span
	for _, s := range spans {
		if n := len(joined); n > 0 && s.Clip[0]-joined[n-1].Clip[1] < apart {
			joined[n-1].Clip[1] = s.Clip[1]
			continue
		}
		joined = append(joined, s)
	}
	if len(joined) < 2 {
		return ""
	}
	parts := make([]string, len(joined))
	for i, s := range joined {
		parts[i] = moment(s.Clip[0]) + " to " + moment(s.Clip[1])
	}
	return "the sound covers " + strings.Join(parts, ", ")
}
