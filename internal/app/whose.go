package app

import (
	"context"
	"fmt"
	"math"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/fault"
	"earshot/internal/match"
	"earshot/internal/shoot"
)

// around is how far before and after a clip two microphones are compared, to
// learn how their gains differ, seconds.
const around = 300.0

// whose finds, for every clip that several sounds heard for sure, the one whose
// wearer is the clip's nearest talker, and says why. Such sounds are of several
// microphones at once; the strongest match need not be the right one, for each
// hears every voice.
func (d *Day) whose(ctx context.Context) error {
	d.nearest = map[*recording]int{}
	for _, c := range d.clips {
		rivals := d.rivals(c)
		if len(rivals) < 2 {
			continue
		}
		best, beats, err := d.contest(ctx, rivals)
		if err != nil {
			return err
		}
		if best < 0 {
			continue
		}
		d.nearest[c] = best
		for _, why := range beats {
			t := &d.result.Document.Takes[best]
			t.Why = append(t.Why, why)
		}
	}
	return nil
}

// rivals are the sure takes of a clip that cover the most of it, by their
// indices.
func (d *Day) rivals(c *recording) (out []int) {
	most := 0.0
	covers := func(i int) float64 { return d.takes[i].found.To - d.takes[i].found.From }
	for i := range d.takes {
		if d.takes[i].clip == c && d.result.Document.Takes[i].Verdict == shoot.Sure {
			most = max(most, covers(i))
		}
	}
	for i := range d.takes {
		if d.takes[i].clip == c && d.result.Document.Takes[i].Verdict == shoot.Sure && covers(i) >= most-sameCover {
			out = append(out, i)
		}
	}
	return out
}

// contest holds every rival against every other and returns the one that loses
// to none and wins once at least, with what it won by; -1 when there is none.
func (d *Day) contest(ctx context.Context, rivals []int) (int, []string, error) {
	best, most := -1, 0
	var words []string
	for _, i := range rivals {
		wins, lost := 0, false
		var beats []string
		for _, k := range rivals {
			if i == k {
				continue
			}
			v, err := d.voices(ctx, &d.takes[i], &d.takes[k])
			if err != nil {
				return -1, nil, err
			}
			by := v.Nearer()
			lost = lost || by < 0
			if by > 0 {
				wins++
				beats = append(beats, beatenWords(v, d.takes[k].sound.path))
			}
		}
		if !lost && wins > most {
			best, most, words = i, wins, beats
		}
	}
	return best, words, nil
}

func beatenWords(v match.Voices, other string) string {
	if math.IsInf(v.B, -1) {
		return fmt.Sprintf("the voice in the clip is its wearer's: for %.0f s of talk louder here than in %s, never the other way round", v.SecondsA, fault.Quote(other))
	}
	return fmt.Sprintf("the clip's nearest voice is its wearer's, by %.0f dB against the wearer of %s, who talks for %.0f s of it", v.Nearer(), fault.Quote(other), v.SecondsB)
}

// voices compares two takes of one clip.
func (d *Day) voices(ctx context.Context, x, y *dayTake) (match.Voices, error) {
	from, to := math.Max(x.found.From, y.found.From), math.Min(x.found.To, y.found.To)
	still := align.Alignment{}
	clip, err := d.levels(ctx, x.clip, x.link.ClipTrack, still, from, to)
	if err != nil {
		return match.Voices{}, err
	}
	pair := func(from, to float64) (a, b []float64, err error) {
		if a, err = d.levels(ctx, x.sound, x.link.SoundTrack, x.found.Alignment, from, to); err == nil {
			b, err = d.levels(ctx, y.sound, y.link.SoundTrack, y.found.Alignment, from, to)
		}
		return a, b, err
	}
	long := func(t *dayTake) (from, to float64) {
		return t.found.Clip(0), t.found.Clip(lengthOf(t.sound))
	}
	fromX, toX := long(x)
	fromY, toY := long(y)
	a, b, err := pair(math.Max(from-around, math.Max(fromX, fromY)), math.Min(to+around, math.Min(toX, toY)))
	if err != nil {
		return match.Voices{}, err
	}
	gain, told := match.GainBetween(a, b)
	if !told {
		return match.Voices{A: math.Inf(-1), B: math.Inf(-1)}, nil
	}
	if a, b, err = pair(from, to); err != nil {
		return match.Voices{}, err
	}
	return match.HearVoices(clip, a, b, gain), nil
}

// levels reads a recording's levels along a line from clip time from to to, row
// by row of its sketch: over the minutes that are read, clocks part by less
// than one.
func (d *Day) levels(ctx context.Context, r *recording, track int, line align.Alignment, from, to float64) ([]float64, error) {
	sketch, err := d.app.openSketch(ctx, r, track)
	if err != nil {
		return nil, err
	}
	defer sketch.Close()
	rows := make([]byte, max(0, int((to-from)*dsp.SketchRate))*dsp.SketchBands)
	if err := sketch.ReadRows(rows, int(math.Round(line.Sound(from)*dsp.SketchRate))); err != nil {
		return nil, err
	}
	return match.Levels(rows), nil
}
