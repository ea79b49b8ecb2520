package cli

import (
	"sort"
	"strings"
	"unicode"
)

// cells returns how many character cells of a terminal s takes: letters of
// East Asian width W or F and emoji take two, marks that sit on the letter
// before them none, all others one. s holds no control characters
// (fault.Escape). Source: Unicode Standard Annex #11, EastAsianWidth; an emoji
// joined to the one before it (U+200D) takes no room of its own, and U+FE0F
// makes the sign before it an emoji, after UTS #51.
func cells(s string) int {
	n, last, joined := 0, 0, false
	for _, r := range s {
		w := 1
		switch {
		case r == '\u200d':
			joined = true
			continue
		case r == '\ufe0f' && last == 1:
			n, last = n+1, 2
			continue
		case r == '\ufe0f' || unicode.In(r, unicode.Mn, unicode.Me) || (r >= 0x1f3fb && r <= 0x1f3ff && last == 2):
			continue
		case joined:
			joined = false
			continue
		case wide(r):
			w = 2
		}
		n, last, joined = n+w, w, false
	}
	return n
}

// wide reports whether r is of East Asian width W or F (Unicode 14).
func wide(r rune) bool {
	if r < 0x1100 {
		return false
	}
	ranges := [...][2]rune{
		{0x1100, 0x115f}, {0x231a, 0x231b}, {0x2329, 0x232a}, {0x23e9, 0x23ec}, {0x23f0, 0x23f0},
		{0x23f3, 0x23f3}, {0x25fd, 0x25fe}, {0x2614, 0x2615}, {0x2648, 0x2653}, {0x267f, 0x267f},
		{0x2693, 0x2693}, {0x26a1, 0x26a1}, {0x26aa, 0x26ab}, {0x26bd, 0x26be}, {0x26c4, 0x26c5},
		{0x26ce, 0x26ce}, {0x26d4, 0x26d4}, {0x26ea, 0x26ea}, {0x26f2, 0x26f3}, {0x26f5, 0x26f5},
		{0x26fa, 0x26fa}, {0x26fd, 0x26fd}, {0x2705, 0x2705}, {0x270a, 0x270b}, {0x2728, 0x2728},
		{0x274c, 0x274c}, {0x274e, 0x274e}, {0x2753, 0x2755}, {0x2757, 0x2757}, {0x2795, 0x2797},
		{0x27b0, 0x27b0}, {0x27bf, 0x27bf}, {0x2b1b, 0x2b1c}, {0x2b50, 0x2b50}, {0x2b55, 0x2b55},
		{0x2e80, 0x303e}, {0x3041, 0x3247}, {0x3250, 0x4dbf}, {0x4e00, 0xa4c6}, {0xa960, 0xa97c},
		{0xac00, 0xd7a3}, {0xf900, 0xfad9}, {0xfe10, 0xfe19}, {0xfe30, 0xfe6b}, {0xff01, 0xff60},
		{0xffe0, 0xffe6}, {0x16fe0, 0x1b2fb}, {0x1f004, 0x1f004}, {0x1f0cf, 0x1f0cf}, {0x1f18e, 0x1f18e},
		{0x1f191, 0x1f19a}, {0x1f200, 0x1f320}, {0x1f32d, 0x1f335}, {0x1f337, 0x1f37c}, {0x1f37e, 0x1f393},
		{0x1f3a0, 0x1f3ca}, {0x1f3cf, 0x1f3d3}, {0x1f3e0, 0x1f3f0}, {0x1f3f4, 0x1f3f4}, {0x1f3f8, 0x1f43e},
		{0x1f440, 0x1f440}, {0x1f442, 0x1f4fc}, {0x1f4ff, 0x1f53d}, {0x1f54b, 0x1f54e}, {0x1f550, 0x1f567},
		{0x1f57a, 0x1f57a}, {0x1f595, 0x1f596}, {0x1f5a4, 0x1f5a4}, {0x1f5fb, 0x1f64f}, {0x1f680, 0x1f6c5},
		{0x1f6cc, 0x1f6cc}, {0x1f6d0, 0x1f6d2}, {0x1f6d5, 0x1f6df}, {0x1f6eb, 0x1f6ec}, {0x1f6f4, 0x1f6fc},
		{0x1f7e0, 0x1f7f0}, {0x1f90c, 0x1f93a}, {0x1f93c, 0x1f945}, {0x1f947, 0x1f9ff}, {0x1fa70, 0x1faf6},
		{0x20000, 0x3fffd},
	}
	i := sort.Search(len(ranges), func(i int) bool { return r <= ranges[i][1] })
	return i < len(ranges) && r >= ranges[i][0]
}

// pad fills s with blanks to width cells: on the right, or on the left when
// right is true, so that s ends at the right edge.
func pad(s string, width int, right bool) string {
	fill := strings.Repeat(" ", max(0, width-cells(s)))
	if right {
		return fill + s
	}
	return s + fill
}

// cut shortens s to at most width cells, taking the middle out: both the
// beginning of a file's name and its number and ending stay readable.
func cut(s string, width int) string {
	if cells(s) <= width {
		return s
	}
	if width < 3 {
		return strings.Repeat("…", min(1, width))
	}
	runes := []rune(s)
	head, tail := 0, len(runes)
	for room := width - 1; head < tail; {
		if c := cells(string(runes[:head+1])) + cells(string(runes[tail:])); c > room {
			break
		}
		head++
		if c := cells(string(runes[:head])) + cells(string(runes[tail-1:])); c > room {
			break
		}
		tail--
	}
	return string(runes[:head]) + "…" + string(runes[tail:])
}

// wrap breaks text at blanks into lines of at most width cells. A word longer
// than a line is cut.
func wrap(text string, width int) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		word = cut(word, width)
		switch {
		case line == "":
			line = word
		case cells(line)+1+cells(word) <= width:
			line += " " + word
		default:
			lines = append(lines, line)
			line = word
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}
