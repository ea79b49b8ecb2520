package app

import (
	"context"

	"earshot/internal/shoot"
)

// MarryOptions asks for finished clips.
type MarryOptions struct {
	Paths    []string
	To       string   // folder to write into; made when missing; "" = "married"
	Sound    string   // "pcm" (default): MOV with 24-bit PCM; "aac": MP4 with AAC
	Scratch  string   // "keep" (default) or "drop"
	Gaps     string   // "scratch" (default) or "silence": what fills parts the sound does not cover
	Distance *float64 // metres from camera to talker; nil lays the sound on what the camera heard
	Celsius  float64  // air temperature for Distance; NaN or zero value = 20
	Name     string   // pattern; "" = "{clip}_married"
	Again    bool     // replace what stands there
	Unsure   bool     // marry unsure takes too
	Digest   bool     // full SHA-256 of every input in the report
	Fresh    bool
	Progress func(Progress)
}

// MarryResult says what was written.
type MarryResult struct {
	Pair   PairResult
	Clips  []Married
	Report string // path of report.json
}

// Married is one clip's end.
type Married struct {
	Clip  string     `json:"clip"`
	Sound string     `json:"sound,omitempty"`
	Out   string     `json:"out,omitempty"`   // path written or found
	State string     `json:"state"`           // "written", "kept" (already there and still right), "passed" (not married), "failed"
	Why   []string   `json:"why,omitempty"`   // in words
	Fills []Fill     `json:"fills,omitempty"` // parts the sound does not cover
	Proof *Proof     `json:"proof,omitempty"` // measured on the written file
	Take  shoot.Take `json:"take"`
	Error string     `json:"error,omitempty"`
	Laid  string     `json:"laid,omitempty"` // "on the scratch" or "moved 8.2 ms earlier for 2.8 m at 20 °C"
}

// A Fill is a part of the clip, in clip seconds, that the good sound does not
// cover.
type Fill struct {
	From float64 `json:"from_s"`
	To   float64 `json:"to_s"`
	With string  `json:"with"` // "scratch" or "silence"
	Gain float64 `json:"gain_db"`
}

// Marry pairs the recordings and writes a finished clip for every sure take.
func (a *App) Marry(ctx context.Context, opt MarryOptions) (*MarryResult, error) {
	panic("being written")
}
