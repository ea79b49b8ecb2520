package app

import (
	"context"
	"fmt"
	"math"
	"slices"

	"earshot/internal/align"
	"earshot/internal/dsp"
)

// Evidence is what was measured of a clip in a sound, window by window.
type Evidence struct {
	Windows    []Heard
	Sigma      float64 // seconds: of the line in the middle; +Inf unknown
	DriftSigma float64 // seconds per second; +Inf unknown
	Inverted   bool    // one microphone has its poles swapped
	Strength   float64 // times above the noise
}

// Heard is one window: the clip's moment At was heard at the sound's moment
// Sound, by the window alone.
type Heard struct {
	At, Sound float64 // seconds
	Error     float64 // seconds, one standard deviation
	Clear     bool    // it has a clear peak of its own
}

// Evidence is what was measured of the choice's two recordings; it is empty where
// nothing was.
func (c *Choice) Evidence() Evidence {
	if c.was == nil {
		return Evidence{Windows: []Heard{}, Sigma: math.Inf(1), DriftSigma: math.Inf(1)}
	}
	return evidenceOf(&c.was.found)
}

// evidenceOf tells the windows of a measurement. A window's own error goes as one
// over the height of its peak; how large it is at height one is taken from how
// far the clear windows lie from the line (1.4826 times the median, which is a
// standard deviation where errors are normal).
func evidenceOf(f *align.Found) Evidence {
	e := Evidence{Windows: []Heard{}, Sigma: f.MidSigma, DriftSigma: f.DriftSigma, Inverted: f.Inverted, Strength: f.Strength}
	var scaled []float64
	for _, l := range f.Locals {
		if l.Heard {
			scaled = append(scaled, math.Abs(l.Left)*l.Height)
		}
	}
	one := math.NaN()
	if len(scaled) >= 3 {
		slices.Sort(scaled)
		one = 1.4826 * dsp.Quantile(scaled, 0.5)
	}
	for _, l := range f.Locals {
		h := Heard{At: l.At, Sound: f.At(l.At) + l.Left, Clear: l.Heard, Error: one / math.Max(l.Height, 1)}
		if math.IsNaN(h.Error) {
			h.Error = f.SigmaAt(l.At)
		}
		if math.IsInf(h.Error, 0) {
			h.Error = align.Tolerance
		}
		e.Windows = append(e.Windows, h)
	}
	return e
}

// searchAbout is how far from where a person pointed a clip is looked for,
// seconds, in steps of nearStep: align.Find looks align.Tolerance to either side.
const (
	searchAbout = 0.5
	nearStep    = 0.1
)

// Near measures a clip in a sound where a person points: the clip's moment at
// lies about at the sound's moment heard. It returns the choice that taking it
// would make, nil where nothing is to be found there, and says why. The day
// remembers what was found: whoever lays the two there sees what was measured.
func (d *Day) Near(ctx context.Context, clip, sound *Recording, at, heard float64) (*Choice, string, error) {
	here, there := d.at(clip.Path(), d.clips), d.at(sound.Path(), d.sounds)
	if here == nil || there == nil {
		return nil, "one of the two is not in the shoot", nil
	}
	c, s := side{here, loudestTrack(here)}, side{there, loudestTrack(there)}
	if len(c.rec.tracks) == 0 || len(s.rec.tracks) == 0 {
		return nil, "one of the two has no sound to measure", nil
	}
	var best *align.Found
	err := d.app.withProxies(ctx, c, s, func(x, y *proxy) error {
		for by := 0.0; by <= searchAbout; by += nearStep {
			for _, off := range []float64{by, -by} {
				if err := ctx.Err(); err != nil {
					return err
				}
				f, err := align.Find(x, y, align.Guess{At: at, Sound: heard + off})
				if err != nil {
					return err
				}
				if f != nil && sane(f) && (best == nil || f.Strength > best.Strength) {
					best = f
				}
				if by == 0 {
					break
				}
			}
			if best != nil && best.Strength >= proveFrom {
				return nil
			}
		}
		return nil
	})
	if err != nil {
		return nil, "", err
	}
	if best == nil || best.Strength < strangers {
		return nil, fmt.Sprintf("within %.1f s of there the two do not match better than unrelated recordings do", searchAbout), nil
	}
	t := dayTake{clip: c.rec, sound: s.rec, found: *best, link: &link{ClipTrack: c.track, SoundTrack: s.track, Found: best}}
	d.mu.Lock()
	d.nearby = append(d.nearby, t)
	d.mu.Unlock()
	choice := &Choice{day: d, index: -1, was: &t, laid: t}
	return choice, fmt.Sprintf("the match there stands %.1f times above the noise", best.Strength), nil
}
