package shoot

import "slices"

// A Word is what a person said of a clip. It stands beside what was measured
// and never over it. Sounds are named by the Key of their recording.
type Word struct {
	Approved bool     `json:"approved"`
	Sound    string   `json:"sound,omitempty"`   // chosen by hand, "" as measured
	Line     *Line    `json:"line"`              // placed by hand: where the first span lies; nil as measured
	Refused  []string `json:"refused,omitempty"` // sounds that do not belong to it
	Name     string   `json:"name,omitempty"`    // of the person's own, for the finished clip
	Note     string   `json:"note,omitempty"`
}

// A Line is where a clip lies in a sound, as Take has it.
type Line struct {
	Offset float64 `json:"offset_s"`
	Drift  float64 `json:"drift_ppm"`
}

// Refuses tells whether the sound of a key was refused.
func (w Word) Refuses(sound string) bool { return slices.Contains(w.Refused, sound) }

// Empty tells whether nothing was said.
func (w Word) Empty() bool {
	return !w.Approved && w.Sound == "" && w.Line == nil && len(w.Refused) == 0 && w.Name == "" && w.Note == ""
}

// A Step is one thing a person did, for taking it back.
type Step struct {
	Label string `json:"label"` // "approved", "laid 1.0 ms later", ...
	Clip  string `json:"take"`  // the key of the clip it touched
	More  int    `json:"more"`  // so many other clips were touched with it
}
