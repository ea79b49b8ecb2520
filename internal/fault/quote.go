package fault

import (
	"strconv"
	"strings"
	"unicode"
)

// Quote returns name in double quotes with control characters, newlines,
// invalid UTF-8 and direction overrides escaped, so that a file's name can
// neither break a line nor steer a terminal. Printable letters of any script
// stay as they are.
func Quote(name string) string { return `"` + Escape(name) + `"` }

// Escape is Quote without the surrounding quotes; backslash and the double
// quote are escaped too.
func Escape(name string) string {
	var b strings.Builder
	for i, r := range name {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == unicode.ReplacementChar && !strings.HasPrefix(name[i:], "\uFFFD"): // a byte that is no UTF-8
			q := strconv.Quote(name[i : i+1])
			b.WriteString(q[1 : len(q)-1])
		case unicode.IsPrint(r):
			b.WriteRune(r)
		case r == '\u200d' || r == '\ufe0f': // joiners inside emoji
			b.WriteRune(r)
		default:
			q := strconv.QuoteRune(r)
			b.WriteString(q[1 : len(q)-1])
		}
	}
	return b.String()
}
