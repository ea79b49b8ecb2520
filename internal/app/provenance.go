package app

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"strconv"
	"strings"

	"earshot/internal/align"
	"earshot/internal/media"
	"earshot/internal/store"
)

// A provenance is what a finished clip says of how it was made, in a tag of
// its own, so that a second run knows it without any other file:
//
//	married by Earshot; clip 1f…; sound 9a…; plan 3c…; earlier 0.008740 s; good 0.000 to 16.340 s
type provenance struct {
	clip, sound store.Identity // fingerprints
	plan        string         // a digest of the options and of the measured place
	earlier     float64        // seconds that the good sound was moved on purpose
	good        stretch        // where it plays alone; nought = all along
}

// A stretch is a part of a clip, in seconds from its zero.
type stretch struct{ from, to float64 }

func (s stretch) none() bool { return s == stretch{} }

// madeByTag holds it, madeByText begins it.
const (
	madeByTag  = "comment"
	madeByText = "married by Earshot"
	behind     = " | " // a comment of the clip's own
)

func (p provenance) String() string {
	text := fmt.Sprintf("%s; clip %s; sound %s; plan %s; earlier %.6f s", madeByText, p.clip, p.sound, p.plan, p.earlier)
	if !p.good.none() {
		text += fmt.Sprintf("; good %.3f to %.3f s", p.good.from, p.good.to)
	}
	return text
}

// same tells whether two clips come out the same: where the good sound plays
// follows from the rest.
func (p provenance) same(q provenance) bool {
	p.good, q.good = stretch{}, stretch{}
	return p.String() == q.String()
}

// after is the tag for a clip that had a comment of its own: that stays, in
// front.
func (p provenance) after(comment string) string {
	if comment == "" {
		return p.String()
	}
	return comment + behind + p.String()
}

// provenanceOf reads a file's own word; ok is false when Earshot did not write
// it.
func provenanceOf(info media.Info) (p provenance, ok bool) {
	text := info.Tags[madeByTag]
	if i := strings.LastIndex(text, behind+madeByText); i >= 0 {
		text = text[i+len(behind):]
	}
	text, ok = strings.CutPrefix(text, madeByText)
	if !ok {
		return p, false
	}
	for _, field := range strings.Split(text, "; ") {
		words := strings.Fields(field)
		if len(words) < 2 {
			continue
		}
		switch words[0] {
		case "clip":
			p.clip = store.Identity(words[1])
		case "sound":
			p.sound = store.Identity(words[1])
		case "plan":
			p.plan = words[1]
		case "earlier":
			if v, err := strconv.ParseFloat(words[1], 64); err == nil && math.Abs(v) <= mostEarlier {
				p.earlier = v
			}
		case "good":
			p.good = stretchOf(words[1:])
		}
	}
	return p, true
}

// stretchOf reads "1.5 to 20 s"; none when that is no stretch of a clip.
func stretchOf(words []string) stretch {
	const longest = 1e6 // seconds: eleven days
	if len(words) < 3 {
		return stretch{}
	}
	from, err1 := strconv.ParseFloat(words[0], 64)
	to, err2 := strconv.ParseFloat(words[2], 64)
	if err1 != nil || err2 != nil || !(0 <= from && from < to && to <= longest) {
		return stretch{}
	}
	return stretch{from, to}
}

// mostEarlier is the longest flight there can be, in seconds: a kilometre of
// air takes no four.
const mostEarlier = 4.0

func isMarried(info media.Info) bool {
	_, ok := provenanceOf(info)
	return ok
}

// shiftOf is how much earlier, in seconds, a finished clip's good sound was
// laid on purpose, with a word on it.
func shiftOf(info media.Info) (float64, string) {
	p, ok := provenanceOf(info)
	if !ok || p.earlier == 0 {
		return 0, ""
	}
	return p.earlier, fmt.Sprintf("the good sound was moved %.1f ms earlier on purpose, for the sound's flight to the camera", p.earlier*1e3)
}

// goodOf is where in a finished clip the good sound plays alone; partly is false
// when it does all along, or nothing is said of it.
func goodOf(info media.Info) (s stretch, partly bool) {
	p, _ := provenanceOf(info)
	return p.good, !p.good.none()
}

// planDigest is short for everything that decides how a clip comes out. The
// place is rounded to 10 µs and 0.1 ppm: less is no other clip. A distance is in
// earlier.
func planDigest(opt MarryOptions, f *align.Found) string {
	text := fmt.Sprintf("2|%s|%s|%s|%.5f|%.1f", opt.Sound, opt.Scratch, opt.Gaps, f.Offset, f.Drift*1e6)
	for _, s := range f.Spans {
		text += fmt.Sprintf("|%.2f|%.5f|%.1f", s.From, s.Offset, s.Drift*1e6)
	}
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:6])
}
