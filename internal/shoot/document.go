package shoot

// A Document is what `earshot pair --json` prints: every recording exactly
// once, as a member of takes, alone or failed. docs/pair.schema.json describes
// it. Times are seconds; a clip's time t is heard in the sound at
// s = offset_s + (1 + drift_ppm·1e-6)·t. Where a take has several spans, each
// holds for its own part, and the take's own figures are those of the first.
type Document struct {
	Version int      `json:"version"` // 1
	Takes   []Take   `json:"takes"`
	Alone   []Alone  `json:"alone"`
	Failed  []Failed `json:"failed"`
}

// A Take is a clip with a sound that heard the same moment. A clip heard by
// several sounds stands in several takes.
type Take struct {
	Clip        string    `json:"clip"`
	Sound       string    `json:"sound"`
	Offset      float64   `json:"offset_s"`
	Drift       float64   `json:"drift_ppm"`
	OffsetSigma float64   `json:"offset_sigma_s"`
	DriftSigma  float64   `json:"drift_sigma_ppm"`
	DriftFrom   DriftFrom `json:"drift_from"`
	Verdict     Verdict   `json:"verdict"`
	Spans       []Span    `json:"spans"`
	Claps       []Clap    `json:"claps"`
	Seam        Seam      `json:"seam_ms"`
	Why         []string  `json:"why"`
	Through     []string  `json:"through,omitempty"` // recordings over which it was placed, from the clip to the sound; none when it was found by itself
	// Chance is that of the take being wrong: of another moment, or laid
	// elsewhere in the sound.
	Chance float64 `json:"chance_of_error"`
	// Candidates are the other places that were considered, the likeliest
	// first. A take that is sure lists none.
	Candidates []Candidate `json:"candidates"`
}

// A Candidate is another place for a take's clip or sound, with what speaks for
// it and against it.
type Candidate struct {
	Clip     string   `json:"clip"`
	Sound    string   `json:"sound"`
	Offset   float64  `json:"offset_s"`
	Strength float64  `json:"strength"` // times above the noise
	For      []string `json:"for"`
	Against  []string `json:"against"`
}

// A Verdict is what the measurement says.
type Verdict string

// The verdicts. Alone is never the verdict of a Take.
const (
	Sure   Verdict = "sure"
	Unsure Verdict = "unsure"
	Single Verdict = "alone"
)

// DriftFrom says where a take's drift figure comes from: its own length, the
// other takes of the same two devices, or nowhere (then it is 0).
type DriftFrom string

// The sources of a drift figure.
const (
	FromTake  DriftFrom = "take"
	FromShoot DriftFrom = "shoot"
	FromNone  DriftFrom = "none"
)

// A Span is an unbroken part of the clip that the sound covers, with its own
// line. A take has several where the recorder lost or repeated sound, and where
// its clock bends: those join without a gap.
type Span struct {
	Clip   [2]float64 `json:"clip_s"` // from, to (excluded), clip seconds
	Offset float64    `json:"offset_s"`
	Drift  float64    `json:"drift_ppm"`
}

// A Clap is one sharp sound found in both recordings.
type Clap struct {
	Clip  float64 `json:"clip_s"`
	Sound float64 `json:"sound_s"`
}

// A Seam is the leftover after alignment, measured in windows along the take,
// as absolute milliseconds.
type Seam struct {
	Median float64 `json:"median"`
	P95    float64 `json:"p95"`
	Max    float64 `json:"max"`
}

// An Alone is a recording that belongs to no other.
type Alone struct {
	Path string   `json:"path"`
	Kind string   `json:"kind"` // "clip" or "sound"
	Why  []string `json:"why"`
}

// A Failed is a recording that could not be read.
type Failed struct {
	Path  string `json:"path"`
	Error string `json:"error"`
}
