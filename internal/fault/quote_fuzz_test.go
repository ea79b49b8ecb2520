package fault

import (
	"strconv"
	"testing"
	"unicode"
	"unicode/utf8"
)

// FuzzQuote quotes any name: what comes out is printable on one line, and the
// name can be read back from it.
func FuzzQuote(f *testing.F) {
	for _, s := range []string{"", "plain.mov", "two\nlines", "\x1b[31m", "latin\xe9", "\u202etfel", "🎬👩‍🎤", `a"b\c`, "\xff\xfe\x00", "\ufffd", "\u0085\u200b"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, name string) {
		q := Quote(name)
		if !utf8.ValidString(q) {
			t.Fatalf("Quote(%q) = %q is no UTF-8", name, q)
		}
		for _, r := range q {
			if !unicode.IsPrint(r) && r != '\u200d' && r != '\ufe0f' {
				t.Errorf("Quote(%q) = %q holds %U", name, q, r)
			}
		}
		back, err := strconv.Unquote(q)
		if err != nil || back != name {
			t.Errorf("Quote(%q) = %s, read back as %q, %v", name, q, back, err)
		}
	})
}
