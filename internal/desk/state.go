// Package desk is a shoot that lies open on a desk: what was added, what is
// being measured, what a person said of it, and what is finished. It runs the
// use cases of package app in the background, keeps every decision in the store
// at once, and tells whoever watches what changed. It knows no network.
package desk

import "earshot/internal/shoot"

// State is everything a face shows of a shoot, but the details of one take.
// Lists are in the order they are shown in. docs/desk.md says what a face may
// ask for.
type State struct {
	Version    int64       `json:"version"` // grows with every change
	Shoot      Shoot       `json:"shoot"`
	Work       Work        `json:"work"`
	Recordings []Recording `json:"recordings"`
	Takes      []Take      `json:"takes"`
	Undo       *shoot.Step `json:"undo"` // what undoing takes back; null when there is nothing
	Redo       *shoot.Step `json:"redo"`
	Marriage   Marriage    `json:"marriage"`
	Notes      []string    `json:"notes"` // what was passed over or mended, in words
}

// A Patch is what changed since a version. Lists hold whole new members, to be
// put in the place of the old ones by id; a part that did not change is left
// out. All says that the receiver's old lists are to be thrown away first.
type Patch struct {
	Version    int64       `json:"version"`
	All        bool        `json:"all,omitempty"`
	Shoot      *Shoot      `json:"shoot,omitempty"`
	Work       *Work       `json:"work,omitempty"`
	Recordings []Recording `json:"recordings,omitempty"`
	Takes      []Take      `json:"takes,omitempty"`
	Gone       []string    `json:"gone,omitempty"` // ids of recordings and takes that are no more
	History    *History    `json:"history,omitempty"`
	Marriage   *Marriage   `json:"marriage,omitempty"`
	Notes      *[]string   `json:"notes,omitempty"`
}

// History is what can be taken back and done again.
type History struct {
	Undo *shoot.Step `json:"undo"`
	Redo *shoot.Step `json:"redo"`
}

// Shoot is the whole.
type Shoot struct {
	Folder string   `json:"folder"` // where its state and, unless asked otherwise, its finished clips lie
	Name   string   `json:"name"`   // the folder's name
	Paths  []string `json:"paths"`  // what the person added, in order
}

// Work is what is being done at present.
type Work struct {
	Busy  bool    `json:"busy"`
	Step  string  `json:"step,omitempty"` // "reading", "pairing", "lining up"
	File  string  `json:"file,omitempty"` // base name
	Done  float64 `json:"done"`
	Total float64 `json:"total"` // 0: unknown
	Error string  `json:"error,omitempty"`
	Hint  string  `json:"hint,omitempty"`
}

// A Recording is one file.
type Recording struct {
	ID      string   `json:"id"`
	Path    string   `json:"path"`
	Name    string   `json:"name"`  // base name
	Kind    string   `json:"kind"`  // "clip", "sound", "" not known yet
	State   string   `json:"state"` // "waiting", "reading", "read", "failed"
	Done    float64  `json:"done"`  // 0 to 1, while reading
	Error   string   `json:"error,omitempty"`
	Length  float64  `json:"length_s"`
	Made    string   `json:"made,omitempty"` // RFC 3339, as the file says; may be wrong by years
	Day     *float64 `json:"day_s"`          // where it begins on the shoot's one clock, seconds from its first midnight, or from the first recording where no file has a date; null where nothing ties it
	Device  string   `json:"device"`         // recordings of one device share it
	Picture *Picture `json:"picture"`        // null of a sound
	Tracks  []Track  `json:"tracks"`
	Alone   []string `json:"alone,omitempty"`   // why it belongs to no other, when it does not
	Refused []string `json:"refused,omitempty"` // of a clip: ids of the sounds a person said do not belong to it, also while it is no take
}

// A Picture is what a clip shows.
type Picture struct {
	Width    int     `json:"width"` // as seen, after turning
	Height   int     `json:"height"`
	FPS      float64 `json:"fps"` // average; 0 unknown
	Rate     string  `json:"rate"`
	Start    float64 `json:"start_s"`
	Codec    string  `json:"codec"`
	Timecode string  `json:"timecode,omitempty"`
	Type     string  `json:"type"` // MIME type of the file with codecs, for asking a browser whether it plays; "" unknown
}

// A Track is one sound track.
type Track struct {
	Rate     int  `json:"rate"` // Hz
	Channels int  `json:"channels"`
	Silent   bool `json:"silent,omitempty"`
}

// A Take is a clip with the sound that is to be laid under it. Its id is the
// clip's: every clip that some sound heard has one.
type Take struct {
	ID       string     `json:"id"`
	Sound    string     `json:"sound"`   // id of the sound chosen
	Others   []string   `json:"others"`  // ids of further sounds that heard it
	Verdict  string     `json:"verdict"` // what the measurement says: "sure", "unsure"; "weighing" while it is being found; "hand" where only a person says that the two belong together
	Status   string     `json:"status"`  // what is to be done: "look", "done"
	Why      []string   `json:"why"`
	Chance   float64    `json:"chance_of_error"` // stated; NaN never: 1 where nothing was measured
	Line     shoot.Line `json:"line"`            // along which the sound is laid now: at the take's beginning
	Measured shoot.Line `json:"measured"`        // the same as measured; as Line where only a person says it
	Moved    float64    `json:"moved_ms"`        // by how much a person laid it later (+) or earlier (-) than measured
	Seam     float64    `json:"seam_ms"`         // 95 % of the measured leftovers are within
	From     float64    `json:"from_s"`          // the part of the clip the sound covers
	To       float64    `json:"to_s"`
	Word     shoot.Word `json:"word"`
}

// Detail is what is shown of one take when it is looked at closely.
type Detail struct {
	Take       Take        `json:"take"`
	ClipTrack  int         `json:"clip_track"` // which track of each carried the match
	SoundTrack int         `json:"sound_track"`
	Measured   []Span      `json:"measured"` // lines measured, in order; none where only a person pairs them
	Laid       []Span      `json:"laid"`     // lines along which the sound is laid now
	Windows    []Window    `json:"windows"`
	Claps      []Clap      `json:"claps"`
	Candidates []Candidate `json:"candidates"`
	Inverted   bool        `json:"inverted"`    // one microphone has its poles swapped
	Sigma      float64     `json:"sigma_ms"`    // of the measured line, in the middle
	DriftSigma *float64    `json:"drift_sigma"` // ppm; null where the take cannot tell
	Through    []string    `json:"through"`     // ids over which it was placed
	Married    *Married    `json:"married"`     // its finished clip, if there is one
}

// A Span is a part of the clip with a line of its own.
type Span struct {
	From   float64 `json:"from_s"`
	To     float64 `json:"to_s"`
	Offset float64 `json:"offset_s"`
	Drift  float64 `json:"drift_ppm"`
}

// A Window is what one short stretch measured by itself: the clip's moment At
// was heard at Sound.
type Window struct {
	At    float64 `json:"at_s"`
	Sound float64 `json:"sound_s"`
	Error float64 `json:"error_ms"` // one standard deviation
	Heard bool    `json:"heard"`    // clearly; others are shown faintly
}

// A Clap is a sharp sound in both.
type Clap struct {
	Clip  float64 `json:"clip_s"`
	Sound float64 `json:"sound_s"`
}

// A Candidate is another place or sound for a clip.
type Candidate struct {
	Sound    string     `json:"sound"` // id
	Line     shoot.Line `json:"line"`
	Strength float64    `json:"strength"`
	For      []string   `json:"for"`
	Against  []string   `json:"against"`
}

// Marriage is the writing of finished clips, the last one or the one under way.
type Marriage struct {
	Busy   bool      `json:"busy"`
	Done   float64   `json:"done"`
	Total  float64   `json:"total"`
	File   string    `json:"file,omitempty"`
	To     string    `json:"to"` // folder
	Clips  []Married `json:"clips"`
	Report string    `json:"report,omitempty"`
	Error  string    `json:"error,omitempty"`
	Hint   string    `json:"hint,omitempty"`
}

// A Married is one clip's end.
type Married struct {
	Take  string   `json:"take"`
	Out   string   `json:"out,omitempty"`
	State string   `json:"state"` // "written", "kept", "passed", "failed"
	Why   []string `json:"why,omitempty"`
	Error string   `json:"error,omitempty"`
	Proof *Proof   `json:"proof"`
}

// A Proof is the seam measured again on the written file.
type Proof struct {
	State   string   `json:"state"` // "in sync", "out of sync", "could not tell"
	Late    float64  `json:"late_ms"`
	Sigma   float64  `json:"late_sigma_ms"`
	P95     float64  `json:"seam_p95_ms"`
	Windows []Left   `json:"windows"`
	Why     []string `json:"why"`
}

// A Left is the leftover at one moment of a finished clip.
type Left struct {
	At   float64 `json:"at_s"`
	Late float64 `json:"late_ms"` // positive: the good sound is heard late
}
