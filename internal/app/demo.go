package app

import "context"

// DemoOptions asks for the demo shoot.
type DemoOptions struct {
	To       string // folder; "" = "earshot-demo"
	Progress func(Progress)
}

// DemoResult holds found against true.
type DemoResult struct {
	Dir    string       `json:"dir"`
	Takes  []DemoTake   `json:"takes"`
	Right  bool         `json:"right"` // every take within the limit, every alone recording alone
	Result *MarryResult `json:"result"`
}

// A DemoTake compares one recording's outcome with the truth.
type DemoTake struct {
	Clip        string  `json:"clip"`
	Sound       string  `json:"sound"`
	Verdict     string  `json:"verdict"`
	TrueOffset  float64 `json:"true_offset_s"`
	FoundOffset float64 `json:"found_offset_s"`
	TrueDrift   float64 `json:"true_drift_ppm"`
	FoundDrift  float64 `json:"found_drift_ppm"`
	WorstError  float64 `json:"worst_error_ms"` // largest |found - true| along the covered part of the clip
	Right       bool    `json:"right"`
	Note        string  `json:"note,omitempty"` // "clap forgotten", "sound stops early", "no sound: alone, as it should be"
}

// Demo makes a shoot of our own invention with known truth, marries it, and
// compares.
func (a *App) Demo(ctx context.Context, opt DemoOptions) (*DemoResult, error) {
	panic("being written")
}
