package scene

import "math"

// A Loss is a place where a recorder dropped samples or wrote some twice: a
// buffer that came too late, an app that was paused.
type Loss struct {
	At      float64 // seconds on the file's own time, where the sound is cut
	Seconds float64 // that are missing from At on; negative: so many before At come again
}

// intact returns the time, on a recorder that loses nothing, of a file's own
// time t: all that was lost by then is counted in.
func (d *Device) intact(t float64) float64 {
	u := t
	for _, l := range d.Losses {
		if l.At <= t {
			u += l.Seconds
		}
	}
	return u
}

// own is the other way: where in the file stands what a recorder that loses
// nothing has at time u. ok is false where that was lost, and the place is then
// the cut; what was written twice is taken where it stands first.
func (d *Device) own(u float64) (t float64, ok bool) {
	gone := 0.0
	for _, l := range d.Losses {
		if u-gone < l.At {
			break
		}
		gone += l.Seconds
		if u-gone < l.At && l.Seconds > 0 {
			return l.At, false
		}
	}
	return u - gone, true
}

// spliced is a rendered recording of n samples in all with the device's losses
// cut into it, each to the nearest sample. whole is what a recorder that loses
// nothing would have written.
func (d *Device) spliced(whole []float32, rate float64, n int) []float32 {
	out := make([]float32, 0, n)
	from := 0
	for _, l := range d.Losses {
		to := min(from+max(0, int(math.Round(l.At*rate))-len(out)), len(whole), from+n-len(out))
		out = append(out, whole[from:to]...)
		from = max(0, min(len(whole), to+int(math.Round(l.Seconds*rate))))
	}
	return append(out, whole[from:min(len(whole), from+n-len(out))]...)
}

// SoundTime is the truth of a pair for one moment, with losses, bent clocks and a
// walk before the camera counted in: where in the sound stands what the clip has at its own time t,
// seconds. ok is false where either has lost it. Where the sound holds it
// twice, the first is meant.
//
// With whole-sample losses it is exact; others are off by less than a sample.
func (s *Scene) SoundTime(clip, sound int, t float64) (at float64, ok bool) {
	c, d := &s.Clips[clip], &s.Sounds[sound]
	there, here := c.pathOf(d.Wearer), d.pathOf(d.Wearer)
	left := there.left(c.Clock.World(c.intact(t)))
	return d.own(d.Clock.Own(left + here.Flight))
}
