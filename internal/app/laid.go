package app

import (
	"math"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/shoot"
)

// Laid is a clip with a sound laid under it: the scratch is the clip's own
// sound, the body the other. Spans are as in shoot.Take. The first line also
// holds before its span begins and the last after its end; between two the
// sound goes on as in the finished clip.
type Laid struct {
	Clip, Sound *Recording
	ClipTrack   int // -1: none; then the scratch is silence
	SoundTrack  int
	Spans       []shoot.Span
}

// What a line laid by hand may be at most.
const (
	mostOffset = 1e6 // seconds: eleven days
	mostDrift  = 1e5 // ppm: three hundred times what clocks show
	spansTouch = 1e-3
)

// check refuses what cannot be laid.
func (l Laid) check(op string) error {
	if l.Clip == nil || l.Sound == nil {
		return senseless(op, "", "a clip and a sound are needed")
	}
	if l.ClipTrack != -1 {
		if err := l.Clip.holds(op, l.ClipTrack); err != nil {
			return err
		}
	}
	if err := l.Sound.holds(op, l.SoundTrack); err != nil {
		return err
	}
	if len(l.Spans) == 0 {
		return senseless(op, l.Clip.Path(), "no line says where the sound lies")
	}
	last := math.Inf(-1)
	for _, s := range l.Spans {
		if !(math.Abs(s.Offset) <= mostOffset && math.Abs(s.Drift) <= mostDrift) {
			return senseless(op, l.Clip.Path(), "a line with the offset %g s and the drift %g ppm", s.Offset, s.Drift)
		}
		if !(s.Clip[0] >= last-spansTouch && s.Clip[1] >= s.Clip[0] && s.Clip[1] <= mostOffset) {
			return senseless(op, l.Clip.Path(), "a span from %g to %g s that does not follow the one before it", s.Clip[0], s.Clip[1])
		}
		last = s.Clip[1]
	}
	return nil
}

// frames is the clip's length at clipRate.
func (l Laid) frames() int64 { return frames(math.Min(l.Clip.Length(), mostOffset)) }

// scratch is the clip's own sound, and up to which frame it goes; nil where it has
// none.
func (a *App) scratch(l Laid) (*voice, int64) {
	if l.ClipTrack < 0 {
		return nil, 0
	}
	heard := float64(l.Clip.rec.tracks[l.ClipTrack].Samples) / dsp.ProxyRate
	return &voice{app: a, rec: l.Clip.rec, track: l.ClipTrack, channels: 1, gain: 1}, min(l.frames(), frames(heard))
}

// body lays the sound out over the clip from its first frame to its last, in one
// channel, as marriage.score does. What score fills is silence here, and so is
// all of it where score would refuse the sound for covering too little.
func (a *App) body(l Laid) []part {
	var lines []part
	for _, s := range l.Spans {
		v := &voice{app: a, rec: l.Sound.rec, track: l.SoundTrack, lie: align.Alignment{Offset: s.Offset, Drift: s.Drift * 1e-6},
			channels: 1, gain: 1, good: true}
		lines = append(lines, part{frames(s.Clip[0]), frames(s.Clip[1]), v})
	}
	total := l.frames()
	soundLen := float64(l.Sound.rec.tracks[l.SoundTrack].Samples) / dsp.ProxyRate
	first, last, ok := reached(lines, math.Min(l.Clip.Length(), mostOffset), soundLen)
	if !ok {
		return []part{{from: 0, to: total}}
	}
	parts, _ := filled(laidBetween(lines, first, last), total, func(int64, int64) (*voice, error) { return nil, nil })
	return parts
}

// cutOut is what of parts is needed to play from frame from to frame to,
// excluded, as if all were played: the parts that sound there, from a frame on
// that lies before no fade. skip is by how many frames that is before from.
func cutOut(parts []part, from, to int64) (out []part, skip int64) {
	for i, p := range parts {
		begin, end := p.from, p.to // of what is heard of it
		if i > 0 {
			begin, _ = crossing(parts[i-1], p)
		}
		if i+1 < len(parts) {
			_, end = crossing(p, parts[i+1])
		}
		if end <= from || begin >= to {
			continue
		}
		if len(out) == 0 {
			p.from = from
			if i+1 < len(parts) {
				fade, _ := crossing(p, parts[i+1])
				p.from = min(from, fade)
			}
			skip = from - p.from
		}
		out = append(out, p)
	}
	if n := len(out) - 1; n >= 0 {
		out[n].to = min(out[n].to, to)
	}
	return out, skip
}
