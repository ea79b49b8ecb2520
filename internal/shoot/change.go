package shoot

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"unicode/utf8"
)

// A Change is what a person says anew of a clip; what is nil stays as it was.
type Change struct {
	Approved *bool
	Sound    *string
	Line     **Line // to nil: back to the measured place
	Refused  *[]string
	Name     *string
	Note     *string
}

// UnmarshalJSON tells a member that is null from one that is not there.
func (c *Change) UnmarshalJSON(b []byte) error {
	var said struct {
		Approved *bool     `json:"approved"`
		Sound    *string   `json:"sound"`
		Refused  *[]string `json:"refused"`
		Name     *string   `json:"name"`
		Note     *string   `json:"note"`
	}
	var members map[string]json.RawMessage
	if err := json.Unmarshal(b, &said); err != nil {
		return err
	}
	if err := json.Unmarshal(b, &members); err != nil {
		return err
	}
	*c = Change{Approved: said.Approved, Sound: said.Sound, Refused: said.Refused, Name: said.Name, Note: said.Note}
	raw, ok := members["line"]
	if !ok {
		return nil
	}
	var line *Line
	if err := json.Unmarshal(raw, &line); err != nil {
		return err
	}
	c.Line = &line
	return nil
}

// Over is a word with a change made to it.
func (c Change) Over(w Word) Word {
	if c.Approved != nil {
		w.Approved = *c.Approved
	}
	if c.Sound != nil {
		w.Sound = *c.Sound
	}
	if c.Line != nil {
		w.Line = *c.Line
	}
	if c.Refused != nil {
		w.Refused = append([]string{}, *c.Refused...)
	}
	if c.Name != nil {
		w.Name = strings.TrimSpace(*c.Name)
	}
	if c.Note != nil {
		w.Note = *c.Note
	}
	if len(w.Refused) == 0 {
		w.Refused = nil
	}
	return w
}

// Sounds are the keys of the sounds that a change names.
func (c Change) Sounds() []string {
	var keys []string
	if c.Sound != nil && *c.Sound != "" {
		keys = append(keys, *c.Sound)
	}
	if c.Refused != nil {
		keys = append(keys, *c.Refused...)
	}
	return keys
}

// What a person may write of a take, in characters.
const (
	longestName = 120
	longestNote = 4000
)

// Wrong says what of a change makes no sense, "" where nothing does.
func (c Change) Wrong() string {
	if c.Line != nil && *c.Line != nil {
		l := **c.Line
		if !(math.Abs(l.Offset) <= 1e7 && math.Abs(l.Drift) <= 1e4) {
			return "that is no place in a sound"
		}
	}
	if c.Name != nil && (utf8.RuneCountInString(*c.Name) > longestName || strings.ContainsAny(*c.Name, "\x00\n\r")) {
		return fmt.Sprintf("a name has at most %d characters, on one line", longestName)
	}
	if c.Note != nil && utf8.RuneCountInString(*c.Note) > longestNote {
		return fmt.Sprintf("a note has at most %d characters", longestNote)
	}
	return ""
}

// Label says in a few words what changed between two words of one clip. At is
// where the clip lay before, nil where that is not known.
func Label(was, is Word, at *Line) string {
	switch {
	case is.Approved && !was.Approved:
		return "approved"
	case !is.Approved && was.Approved:
		return "approval taken back"
	case len(is.Refused) > len(was.Refused):
		return "pair refused"
	case len(is.Refused) < len(was.Refused):
		return "refusal taken back"
	case is.Sound != was.Sound && is.Sound != "":
		return "another sound chosen"
	case is.Sound != was.Sound:
		return "back to the measured sound"
	case is.Line == nil && was.Line != nil:
		return "back to the measured place"
	case is.Line != nil && (was.Line == nil || *is.Line != *was.Line):
		if was.Line != nil {
			at = was.Line
		}
		return moved(at, *is.Line)
	case is.Name != was.Name:
		return "name changed"
	}
	return "note changed"
}

// moved says by how much a sound was laid later or earlier.
func moved(from *Line, to Line) string {
	const nothing = 5e-4 // ms
	if from == nil {
		return "laid by hand"
	}
	switch late := (from.Offset - to.Offset) * 1e3; {
	case math.Abs(late) < nothing:
		return fmt.Sprintf("drift set to %+.2f ppm", to.Drift)
	case late < 0:
		return "laid " + milliseconds(-late) + " earlier"
	default:
		return "laid " + milliseconds(late) + " later"
	}
}

func milliseconds(ms float64) string {
	switch {
	case ms < 10:
		return fmt.Sprintf("%.2f ms", ms)
	case ms < 1000:
		return fmt.Sprintf("%.0f ms", ms)
	}
	return fmt.Sprintf("%.2f s", ms/1e3)
}
