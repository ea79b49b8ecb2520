package app

import (
	"math"
	"path/filepath"
	"strings"
	"testing"
	"unicode"

	"earshot/internal/align"
	"earshot/internal/media"
	"earshot/internal/store"
)

func tagged(comment string) media.Info {
	return media.Info{Tags: map[string]string{madeByTag: comment}}
}

// What a finished clip says of itself is read back as it was written.
func TestProvenanceComesBack(t *testing.T) {
	want := provenance{clip: "1f00", sound: "9a00", plan: "3c00", earlier: 0.00874, good: stretch{0.05, 16.345}}
	got, ok := provenanceOf(tagged(want.String()))
	if !ok || got != want {
		t.Errorf("provenanceOf(%q) = %+v, %v, want %+v", want, got, ok, want)
	}
	for _, foreign := range []string{"", "holiday", "Married by Earshot", " " + want.String()} {
		if _, ok := provenanceOf(tagged(foreign)); ok {
			t.Errorf("provenanceOf(%q) takes it for ours", foreign)
		}
	}
}

// FuzzProvenance reads tags that anybody may have written: a figure that a
// proof is moved by stays a figure that can be.
func FuzzProvenance(f *testing.F) {
	for _, s := range []string{"", madeByText, provenance{"a", "b", "c", 0.01, stretch{}}.String(), madeByText + "; earlier NaN s",
		madeByText + "; earlier -Inf s; clip ; sound x y", madeByText + "; earlier 1e300 s;;  ; clip \x00 z",
		madeByText + "; good 1 to 9 s", madeByText + "; good -1 to NaN s; good 3 to", madeByText + "; good 5 to 1e300 s"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		p, ok := provenanceOf(tagged(text))
		if !(math.Abs(p.earlier) <= mostEarlier) {
			t.Errorf("provenanceOf(%q) moves the sound by %g s", text, p.earlier)
		}
		if g, partly := goodOf(tagged(text)); partly && !(0 <= g.from && g.from < g.to && g.to <= 1e6) {
			t.Errorf("provenanceOf(%q) has the good sound play from %g to %g s", text, g.from, g.to)
		}
		if ok != (strings.HasPrefix(text, madeByText) || strings.Contains(text, behind+madeByText)) {
			t.Errorf("provenanceOf(%q): ours %v", text, ok)
		}
		if q, again := provenanceOf(tagged(p.String())); ok && (!again || q.clip != p.clip || q.sound != p.sound || q.plan != p.plan) {
			t.Errorf("provenanceOf(%q) = %+v, written again it is %+v", text, p, q)
		}
		if s, _ := shiftOf(tagged(text)); s != p.earlier {
			t.Errorf("shiftOf(%q) = %g, want %g", text, s, p.earlier)
		}
	})
}

// FuzzNames makes names of any pattern and any clip: they all lie in the
// target folder and differ from each other.
func FuzzNames(f *testing.F) {
	f.Add("{clip}_married", "card/C0001.MP4")
	f.Add("{clip}", "-two\nlines.mov")
	f.Add("..{clip}", "..")
	f.Add("{clip}{clip}", "{clip}.mov")
	f.Add("a/{clip}", "x")
	f.Add("", "")
	f.Fuzz(func(t *testing.T, pattern, clip string) {
		if strings.ContainsRune(clip, 0) {
			t.Skip("no path")
		}
		dir := t.TempDir()
		n, err := newNamer(dir, pattern, ".mov")
		if err != nil {
			return
		}
		seen := map[string]bool{}
		for range 4 {
			name := n.choose(clip, "", func(string) bool { return false })
			if name == "" {
				t.Fatalf("no name for %q by %q", clip, pattern)
			}
			if filepath.Dir(name) != dir || seen[strings.ToLower(name)] {
				t.Errorf("clip %q by pattern %q becomes %q, after %v", clip, pattern, name, seen)
			}
			seen[strings.ToLower(name)] = true
		}
	})
}

// FuzzNatural wants an order: never both before each other, and equal only to
// itself up to leading zeros.
func FuzzNatural(f *testing.F) {
	f.Add("C9", "C10")
	f.Add("a01", "a1")
	f.Add("", "0")
	f.Fuzz(func(t *testing.T, a, b string) {
		if naturalLess(a, b) && naturalLess(b, a) {
			t.Errorf("%q and %q come before each other", a, b)
		}
		if naturalLess(a, a) {
			t.Errorf("%q comes before itself", a)
		}
	})
}

// FuzzPrintable puts any words into the report: they stay on their line.
func FuzzPrintable(f *testing.F) {
	f.Add("plain")
	f.Add("two\nlines \x1b[31mred\u202e\u0085")
	f.Fuzz(func(t *testing.T, s string) {
		for _, r := range printable(s) {
			if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) {
				t.Errorf("printable(%q) = %q", s, printable(s))
			}
		}
	})
}

// FuzzKeptLinks puts any bytes in the place of measured links, with a right
// checksum, as an older or a mistaken version might have: at worst they are
// measured anew.
func FuzzKeptLinks(f *testing.F) {
	id := store.Identity("0123456789abcdef0123456789abcdef")
	m := &measurer{app: &App{Cache: store.Open(f.TempDir(), store.DefaultLimit)}}
	s := &recording{id: id}
	if err := m.save(s, meetings{"aa": {Reach: searched}, "bb": {Reach: glanced, Link: &link{Score: 7, Found: &align.Found{Strength: 20}}}}); err != nil {
		f.Fatal(err)
	}
	f.Add(m.app.Cache.LoadBytes(id, linksName))
	f.Add([]byte{})
	f.Add([]byte("{}"))
	f.Fuzz(func(t *testing.T, b []byte) {
		m := &measurer{app: &App{Cache: store.Open(t.TempDir(), store.DefaultLimit)}}
		if err := m.app.Cache.SaveBytes(id, linksName, b); err != nil {
			t.Fatal(err)
		}
		for clip, met := range m.load(s) {
			if met.Link != nil && met.Link.Found == nil {
				t.Errorf("clip %q has a link without a measurement", clip)
			}
		}
	})
}

// A camera's own comment stays in front of ours, and hides nothing.
func TestProvenanceAfterAComment(t *testing.T) {
	made := provenance{"a", "b", "c", 0.01, stretch{}}
	text := made.after("shot on a rainy day; take 3")
	if !strings.HasPrefix(text, "shot on a rainy day; take 3 | ") {
		t.Errorf("tag %q", text)
	}
	if p, ok := provenanceOf(media.Info{Tags: map[string]string{madeByTag: text}}); !ok || p != made {
		t.Errorf("read back %+v, %v, want %+v", p, ok, made)
	}
}
