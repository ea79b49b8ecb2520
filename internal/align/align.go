// Package align measures where a clip's sound lies in a recording: offset and
// clock drift together, with the evidence behind them.
//
// The method is generalised cross-correlation (Knapp & Carter 1976, "The
// generalized correlation method for estimation of time delay") with partial
// whitening, taken in windows along the clip and added coherently under the
// clock model
//
//	s = Offset + (1+Drift)·t
//
// so that windows in which no peak can be seen alone still add up to one.
package align

import "math"

// An Alignment places a clip's clock on a sound's clock. What the clip hears
// at t, the sound hears at
//
//	s = Offset + (1+Drift)·t
//
// with t and s in seconds from each file's zero.
//
//   - Offset > 0: the recorder was already running when the camera started.
//   - Drift > 0: the recorder counts more seconds than the camera. At 20e-6
//     (20 ppm) an unmended clip is one 25 fps frame out after 33 minutes.
type Alignment struct {
	Offset float64 // seconds
	Drift  float64 // seconds per second
}

// Sound returns the sound's time for clip time t.
func (a Alignment) Sound(t float64) float64 { return a.Offset + (1+a.Drift)*t }

// Clip returns the clip's time for sound time s.
func (a Alignment) Clip(s float64) float64 { return (s - a.Offset) / (1 + a.Drift) }

// Covered returns the part of a clip of clipLen seconds that a sound of
// soundLen seconds covers, in clip seconds; to < from when there is none.
func (a Alignment) Covered(clipLen, soundLen float64) (from, to float64) {
	return math.Max(0, a.Clip(0)), math.Min(clipLen, a.Clip(soundLen))
}

// MaxDrift is the largest drift two working clocks show, seconds per second.
// Sound cards span ±100 ppm; anything past 300 ppm is no clock but a wrong
// match or a wrong sample rate.
const MaxDrift = 300e-6
