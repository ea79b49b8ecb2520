package app

import (
	"context"
)

// ProveOptions asks how well a finished file's good sound lies on its scratch.
type ProveOptions struct {
	File     string
	Scratch  string // a second file whose sound is the scratch; "" = File's second sound track
	Progress func(Progress)
}

// The states of a Proof.
const (
	InSync    = "in sync"
	OutOfSync = "out of sync"
	NoTelling = "could not tell"
)

// A Proof is the leftover between good sound and scratch.
//
// Late is positive when the good sound is heard after the scratch, negative
// when before: +40 means the good sound is laid 40 ms late.
type Proof struct {
	File       string       `json:"file"`
	Scratch    string       `json:"scratch"` // "track 2" or a path
	State      string       `json:"state"`
	Late       float64      `json:"late_ms"` // at the middle
	Sigma      float64      `json:"late_sigma_ms"`
	Drift      float64      `json:"drift_ppm"` // of the good sound against the scratch: positive = it gets later along the clip
	DriftSigma float64      `json:"drift_sigma_ppm"`
	Seam       ProofSeam    `json:"seam_ms"`
	Windows    []SeamPoint  `json:"windows"`
	Limits     []LimitCheck `json:"limits"`
	Why        []string     `json:"why"`
}

// ProofSeam sums up the windows, as absolute milliseconds.
type ProofSeam struct {
	Median float64 `json:"median"`
	P95    float64 `json:"p95"`
	Max    float64 `json:"max"`
	Heard  int     `json:"windows_heard"` // windows with a clear peak
	Of     int     `json:"windows"`
}

// A SeamPoint is one window of the seam.
type SeamPoint struct {
	At   float64 `json:"at_s"`    // middle of the window, clip seconds
	Late float64 `json:"late_ms"` // sign as Proof.Late
}

// A LimitCheck holds the worst window against one published limit.
type LimitCheck struct {
	Name   string  `json:"name"` // e.g. "ITU-R BT.1359-1 detectability"
	Early  float64 `json:"early_ms"`
	LateMs float64 `json:"late_ms"`
	Pass   bool    `json:"pass"`
}

// Prove measures a finished file, whoever made it.
func (a *App) Prove(ctx context.Context, opt ProveOptions) (*Proof, error) {
	panic("being written")
}
