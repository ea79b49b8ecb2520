package desk

import "earshot/internal/shoot"

// A Change is what a person says anew of a clip.
type Change = shoot.Change

// Near says where to measure: the clip's moment At lies about at the sound's
// moment Heard.
type Near struct {
	Sound string  `json:"sound"` // id
	At    float64 `json:"at_s"`
	Heard float64 `json:"sound_s"`
}

// A Nearby is what was measured near there; Found is nil where nothing was.
type Nearby struct {
	Found *Detail `json:"found"`
	Why   string  `json:"why"`
}

// Places are where folders may be looked for.
type Places struct {
	Places []Place `json:"places"`
}

// A Place is a beginning for looking.
type Place struct {
	Name string `json:"name"`
	Path string `json:"path"`
	Kind string `json:"kind"` // "home" or "drive"
}

// A Folder is what one folder holds, hidden things left out.
type Folder struct {
	Path       string      `json:"path"`
	Up         string      `json:"up"` // the folder it lies in; "" at a place
	Folders    []Inside    `json:"folders"`
	Recordings []InsideRec `json:"recordings"`
}

// Inside is a folder in a folder.
type Inside struct {
	Name       string `json:"name"`
	Path       string `json:"path"`
	Recordings int    `json:"recordings"` // directly in it, by their names' endings
}

// InsideRec is a recording in a folder.
type InsideRec struct {
	Name  string `json:"name"`
	Path  string `json:"path"`
	Bytes int64  `json:"bytes"`
}

// PeaksAsk asks for bins of a track's wave.
type PeaksAsk struct {
	Track, Level, From, N int
}

// Peaks are bins of a wave.
type Peaks struct {
	Bins []byte // 6 bytes each: int16 lowest, int16 highest, uint16 root mean square
	Of   int    // how many there are at this level
}

// A Strip is a run of true frames.
type Strip struct {
	Frames []Frame `json:"frames"`
	Middle int     `json:"middle"` // index of the frame that shows at the moment asked for; -1: none does
}

// A Frame is one picture and when it shows, clip seconds.
type Frame struct {
	At    float64 `json:"at_s"`
	Until float64 `json:"until_s"`
	JPEG  []byte  `json:"jpeg"`
}

// ListenAsk asks for both microphones on a clip's clock, from frame From to To,
// excluded, at 48000 Hz; To 0 is the clip's end.
type ListenAsk struct {
	From, To int64
	Sound    string      // "" as chosen
	Line     *shoot.Line // nil as chosen
}

// Loudness is that of both microphones over what both cover.
type Loudness struct {
	Body    *float64 `json:"body_lufs"` // nil: silence
	Scratch *float64 `json:"scratch_lufs"`
	Whole   bool     `json:"whole"` // all of it was measured
}

// MarryAsk is `earshot marry`'s choices.
type MarryAsk struct {
	To       string   `json:"to"`
	Sound    string   `json:"sound"`
	Scratch  string   `json:"scratch"`
	Gaps     string   `json:"gaps"`
	Distance *float64 `json:"distance"`
	Celsius  *float64 `json:"celsius"`
	Name     string   `json:"name"`
	Unsure   bool     `json:"unsure"`
	Again    bool     `json:"again"`
	Only     []string `json:"only"` // ids of takes; none: all that are done
}
