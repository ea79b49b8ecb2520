package app

import (
	"errors"
	"math"
	"testing"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/fault"
	"earshot/internal/media/mediatest"
)

// A scoreCase lays a tune that a sound holds under a clip that heard it at a
// quarter of the level (-12 dB).
type scoreCase struct {
	name                string
	rate, channels      int     // of the sound
	scratch             int     // the clip's channels
	clipLen, soundLen   float64 // seconds of sound
	picture             float64 // seconds; 0 as long as the clip's sound
	truth               align.Alignment
	gaps                string
	goodTrack, outTrack bool // a stranger's track stands before the sound's, before the clip's
	fills               int
}

var scoreCases = []scoreCase{
	{name: "no gap", rate: 48000, channels: 1, scratch: 1, clipLen: 3, soundLen: 6, truth: align.Alignment{Offset: 1.2345678, Drift: 40e-6}},
	{name: "whole samples", rate: 48000, channels: 2, scratch: 1, clipLen: 2, soundLen: 4, truth: align.Alignment{Offset: 1.25}},
	{name: "gap at the head", rate: 48000, channels: 1, scratch: 1, clipLen: 3, soundLen: 6, truth: align.Alignment{Offset: -0.7312, Drift: -55e-6}, fills: 1},
	{name: "gap at the tail", rate: 44100, channels: 1, scratch: 1, clipLen: 3, soundLen: 2.5, truth: align.Alignment{Offset: 0.5551, Drift: 12e-6}, fills: 1},
	{name: "gaps at both ends", rate: 48000, channels: 1, scratch: 1, clipLen: 4, soundLen: 2, truth: align.Alignment{Offset: -1.0101}, fills: 2},
	{name: "gaps of silence", rate: 48000, channels: 1, scratch: 1, clipLen: 4, soundLen: 2, truth: align.Alignment{Offset: -1.0101}, gaps: "silence", fills: 2},
	{name: "mono over stereo", rate: 48000, channels: 1, scratch: 2, clipLen: 3, soundLen: 1.5, truth: align.Alignment{Offset: -0.5}, fills: 2},
	{name: "stereo over mono", rate: 16000, channels: 2, scratch: 1, clipLen: 3, soundLen: 1.5, truth: align.Alignment{Offset: -0.5, Drift: 100e-6}, fills: 2},
	{name: "second tracks", rate: 48000, channels: 1, scratch: 1, clipLen: 3, soundLen: 1.5, truth: align.Alignment{Offset: -0.51}, goodTrack: true, outTrack: true, fills: 2},
	{name: "picture longer than its sound", rate: 48000, channels: 1, scratch: 1, clipLen: 2, soundLen: 1.5, picture: 2.52, truth: align.Alignment{Offset: -0.4}, fills: 2},
	{name: "picture shorter than its sound", rate: 48000, channels: 1, scratch: 1, clipLen: 3, soundLen: 4, picture: 1.96, truth: align.Alignment{Offset: 0.1}},
	{name: "a hair short at both ends", rate: 48000, channels: 1, scratch: 1, clipLen: 2, soundLen: 1.99, truth: align.Alignment{Offset: -0.005}},
	{name: "half a second covered", rate: 48000, channels: 1, scratch: 1, clipLen: 2, soundLen: 0.5, truth: align.Alignment{Offset: -1}, fills: 2},
}

var melody = newTune(1, 12, 6500)

// tracks makes the two files. What the sound hears at its own time s is the
// melody at s.
func (c *scoreCase) layout() *layout {
	gains := []float64{1, 0.5}[:c.channels]
	good := melody.record(c.rate, c.soundLen, func(s float64) float64 { return s }, gains...)
	quarter := 0.25 * (gains[0] + gains[len(gains)-1]) / 2
	scratch := melody.record(48000, c.clipLen, c.truth.Sound, []float64{quarter, quarter}[:c.scratch]...)
	l := &layout{clip: clipOf(48000, c.scratch, scratch), sound: soundFile(c.rate, c.channels, good), truth: c.truth, gaps: c.gaps}
	if c.picture > 0 {
		l.clip.Info.Pictures[0].Duration, l.clip.Info.Duration = c.picture, math.Max(c.picture, c.clipLen)
	}
	other := newTune(9, 5, 3000).record(22050, 7, func(s float64) float64 { return s }, 3, 3)
	if c.goodTrack {
		l.sound, l.soundTrack = tracked(l.sound, true, 22050, 2, other), 1
		l.sound.Info.Duration = 7
	}
	if c.outTrack {
		l.clip, l.clipTrack = tracked(l.clip, true, 22050, 2, other), 1
	}
	return l
}

// The finished sound is as long as the picture; where the sound covers the
// clip it is the resampled sound, bit for bit; in the gaps it is the scratch at
// the sound's level, and in the fades between the sum of the two with gains
// that sum to 1. No step is larger than its sides make.
func TestScore(t *testing.T) {
	cases := scoreCases
	if racing {
		cases = cases[4:5]
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			l := c.layout()
			got, s, said, err := l.played(t)
			if err != nil {
				t.Fatal(err)
			}
			total := int(math.Round(clipLength(l.clip.Info) * clipRate))
			if s.channels != c.channels || len(got) != total*c.channels {
				t.Fatalf("%d samples in %d channels, want %d frames of %d", len(got), s.channels, total, c.channels)
			}
			if len(said.Fills) != c.fills || len(s.parts) != c.fills+1 {
				t.Fatalf("fills %+v in %d parts, want %d fills", said.Fills, len(s.parts), c.fills)
			}
			good := l.laid(total)
			old := make([]float32, len(got))
			for _, f := range said.Fills {
				if c.gaps != "silence" && math.Abs(f.Gain-12.04) > 1 { // 20·log10 4
					t.Errorf("gain %.2f dB from %.2f s, want 12.04 within 1", f.Gain, f.From)
				}
				l.fillIn(old, f, c.channels)
			}
			checkParts(t, s, got, good, old)
			checkSteps(t, got, good, old, c.channels)
		})
	}
}

// laid is the sound on the clip's clock, by the resampler alone.
func (l *layout) laid(total int) []float32 {
	snd := l.sound.Info.Sounds[l.soundTrack]
	rate := float64(snd.Rate)
	return dsp.Resample(l.sound.Sounds[l.soundTrack], snd.Channels, l.truth.Sound(0)*rate, (1+l.truth.Drift)*rate/clipRate, total)
}

// fillIn puts what plays in a gap into old, with the frames of its fades.
func (l *layout) fillIn(old []float32, f Fill, channels int) {
	if f.With != "scratch" {
		return
	}
	scratch := l.clip.Sounds[l.clipTrack]
	in := l.clip.Info.Sounds[l.clipTrack].Channels
	gain := float32(math.Pow(10, f.Gain/20))
	from, to := max(0, int(f.From*clipRate)-fadeLength), min(len(old)/channels, int(f.To*clipRate+0.5)+fadeLength)
	for i := from; i < to && (i+1)*in <= len(scratch); i++ {
		for c := range channels { // both channels of a stereo scratch are the same
			old[i*channels+c] = scratch[i*in] * gain
		}
	}
}

// checkParts holds the finished sound against its two sides.
func checkParts(t *testing.T, s *score, got, good, old []float32) {
	t.Helper()
	var atGood, first int64 = 0, 0
	for i, p := range s.parts {
		if p.voice == s.good {
			atGood = int64(i)
		}
	}
	g := s.parts[atGood]
	wrong, worst := 0, 0.0
	for i := range got {
		frame := int64(i / s.channels)
		share := 1.0 // of the good sound
		switch {
		case frame < g.from || frame >= g.to:
			share = 0
		case atGood > 0 && frame < g.from+fadeLength:
			share = (float64(frame-g.from) + 0.5) / fadeLength
		case int(atGood)+1 < len(s.parts) && frame >= g.to-fadeLength:
			share = 1 - (float64(frame-(g.to-fadeLength))+0.5)/fadeLength
		}
		if share == 1 && g.from == 0 && got[i] != good[i] {
			if wrong++; wrong == 1 {
				first = frame
			}
		}
		want := share*float64(good[i]) + (1-share)*float64(old[i])
		worst = math.Max(worst, math.Abs(float64(got[i])-want))
	}
	if wrong > 0 {
		t.Errorf("%d samples of the good sound outside the fades are not the resampled sound, the first in frame %d", wrong, first)
	}
	if worst > 1e-6 {
		t.Errorf("the finished sound is up to %.2g from the sum of its sides, want 1e-6", worst)
	}
}

// checkSteps looks for clicks: a step from one frame to the next is a share of
// each side's own plus what one frame of the fade moves.
func checkSteps(t *testing.T, got, good, old []float32, channels int) {
	t.Helper()
	for i := channels; i < len(got); i++ {
		step := math.Abs(float64(got[i] - got[i-channels]))
		most := math.Max(math.Abs(float64(good[i]-good[i-channels])), math.Abs(float64(old[i]-old[i-channels])))
		most += (math.Abs(float64(good[i])) + math.Abs(float64(old[i]))) / fadeLength
		if step > most+1e-6 {
			t.Fatalf("a step of %.3g in frame %d, the two sides make %.3g", step, i/channels, most)
		}
	}
}

// Where scratch and sound are the same, at one level, a crossfade between them
// cannot be heard: gains that sum to 1.
func TestFadeBetweenEquals(t *testing.T) {
	truth := align.Alignment{Offset: -1, Drift: 30e-6}
	same := func(s float64) float64 { return s }
	l := &layout{truth: truth, clip: clipOf(48000, 1, melody.record(48000, 4, truth.Sound, 1)),
		sound: soundFile(48000, 1, melody.record(48000, 2, same, 1))}
	got, s, said, err := l.played(t)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.parts) != 3 || math.Abs(said.Fills[0].Gain) > 0.1 {
		t.Fatalf("%d parts, fills %+v", len(s.parts), said.Fills)
	}
	worst := 0.0
	for i, v := range got {
		sec := float64(i) / clipRate
		if math.Abs(sec-truth.Clip(0)) < 0.002 || math.Abs(sec-truth.Clip(2)) < 0.002 {
			continue // the sound itself begins and ends with a cut
		}
		worst = math.Max(worst, math.Abs(float64(v)-melody.at(truth.Sound(sec))))
	}
	if worst > 0.005 { // of a tune of 0.1 RMS; a dip of 3 dB would leave 0.1
		t.Errorf("up to %.4f from the one tune that both hold", worst)
	}
}

// The good sound on the clip's clock is right to far below a hundredth of a
// sample: against the closed form, -80 dB is asked for. At 6.5 kHz and 48 kHz,
// a hundredth of a sample late would leave -41 dB.
func TestGoodSoundIsExact(t *testing.T) {
	rates := []int{48000, 44100, 96000}
	if racing {
		rates = rates[:1]
	}
	for _, rate := range rates {
		truth := align.Alignment{Offset: 0.123456789, Drift: 87.6e-6}
		l := &layout{truth: truth, earlier: 0.00874,
			clip:  clipOf(16000, 1, make([]float32, 16000*3)),
			sound: soundFile(rate, 1, melody.record(rate, 4, func(s float64) float64 { return s }, 1))}
		got, _, _, err := l.played(t)
		if err != nil {
			t.Fatal(err)
		}
		var left, whole float64
		for i, v := range got {
			want := melody.at(truth.Sound(float64(i)/clipRate + l.earlier))
			left += (float64(v) - want) * (float64(v) - want)
			whole += want * want
		}
		if db := 10 * math.Log10(left/whole); db > -80 {
			t.Errorf("from %d Hz: the leftover is %.1f dB, want under -80", rate, db)
		}
	}
}

// What plays in a gap stays under full scale, though the level match asks for
// more: a bang in one channel, one above the band that is compared, one that
// lies only in the fade.
func TestScratchHasHeadroom(t *testing.T) {
	if racing {
		t.Skip("arithmetic alone; TestScore stands in under the race detector")
	}
	truth := align.Alignment{Offset: -2}
	same := func(s float64) float64 { return s }
	good := melody.record(48000, 4, same, 2)
	for _, tt := range []struct {
		name     string
		channels int
		spoil    func(scratch []float32)
	}{
		{"in one channel", 2, func(x []float32) { x[2*48000] = 0.6 }},
		{"against each other", 2, func(x []float32) {
			for i := range 4800 {
				v := float32(0.5 * math.Sin(2*math.Pi*700*float64(i)/48000))
				x[2*(20000+i)], x[2*(20000+i)+1] = v, -v
			}
		}},
		{"a high tone", 1, func(x []float32) {
			for i := range 4800 {
				x[20000+i] = float32(0.5 * math.Sin(2*math.Pi*13000*float64(i)/48000))
			}
		}},
		{"in the fade", 1, func(x []float32) { x[2*48000+100] = 0.9 }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			scratch := melody.record(48000, 6, truth.Sound, []float64{0.2, 0.2}[:tt.channels]...)
			tt.spoil(scratch)
			l := &layout{truth: truth, clip: clipOf(48000, tt.channels, scratch), sound: soundFile(48000, 1, good)}
			if tt.channels == 2 {
				l.sound = soundFile(48000, 2, melody.record(48000, 4, same, 2, 2))
			}
			got, _, said, err := l.played(t)
			if err != nil {
				t.Fatal(err)
			}
			if peak := dsp.Peak(got); peak > 1 {
				t.Errorf("the finished sound reaches %.2f of full scale; fills %+v", peak, said.Fills)
			}
			if len(said.Fills) == 0 || said.Fills[0].Gain < 0 {
				t.Errorf("fills %+v, want a gain of 0 dB or more: the scratch itself keeps under full scale", said.Fills)
			}
		})
	}
}

// A sound is as long as what is in the track that is laid, not as its header
// or another track says: the rest is a gap.
func TestCoverageGoesByTheTrack(t *testing.T) {
	same := func(s float64) float64 { return s }
	good := melody.record(48000, 2, same, 1)
	truth := align.Alignment{Offset: 0.5}
	for name, sound := range map[string]mediatest.File{
		"another track is longer":     tracked(soundFile(48000, 1, good), false, 16000, 1, make([]float32, 16000*9)),
		"the header claims much more": soundFile(48000, 1, good),
	} {
		sound.Info.Duration = 9
		l := &layout{truth: truth, clip: clipOf(48000, 1, melody.record(48000, 4, truth.Sound, 0.5)), sound: sound}
		_, _, said, err := l.played(t)
		if err != nil {
			t.Fatal(err)
		}
		if len(said.Fills) != 1 || math.Abs(said.Fills[0].From-1.5) > 0.001 || said.Fills[0].To != 4 {
			t.Errorf("%s: fills %+v, want one from 1.5 to 4 s", name, said.Fills)
		}
	}
}

// A sound that covers less than its fades need is refused in words.
func TestHardlyCovered(t *testing.T) {
	truth := align.Alignment{Offset: -2.9}
	l := &layout{truth: truth, clip: clipOf(48000, 1, melody.record(48000, 3, truth.Sound, 1)),
		sound: soundFile(48000, 1, melody.record(48000, 2, func(s float64) float64 { return s }, 1))}
	_, _, _, err := l.played(t)
	var f *fault.Error
	if !errors.As(err, &f) || f.Hint == "" || f.Subject == "" {
		t.Errorf("error %v, want one that says on what and what to do", err)
	}
}

// A picture that does not say how long it lasts leaves the file's own length.
func TestClipLength(t *testing.T) {
	info := clipOf(48000, 1, make([]float32, 48000)).Info
	info.Duration, info.Pictures[0].Start, info.Pictures[0].Duration = 7, 0.5, 0
	if got := clipLength(info); got != 7 {
		t.Errorf("%g s, want 7", got)
	}
	info.Pictures[0].Duration = 6
	if got := clipLength(info); got != 6.5 {
		t.Errorf("%g s, want 6.5: shown half a second in", got)
	}
}

// An excerpt ends where its source does, however far it was to go, and is
// silent outside.
func TestExcerpt(t *testing.T) {
	source := align.Samples{0, 1, 2, 3, 4, 5}
	for _, tt := range []struct{ first, last, n int }{{0, 6, 6}, {2, 5, 3}, {2, 100, 4}, {7, 100, 0}} {
		e := excerptOf(source, tt.first, tt.last)
		if e.Len() != tt.n {
			t.Errorf("from %d to %d of 6: %d samples, want %d", tt.first, tt.last, e.Len(), tt.n)
		}
		got := make([]float32, 10)
		if err := e.ReadAt(got, -2); err != nil {
			t.Fatal(err)
		}
		for i, v := range got {
			want := float32(0)
			if k := i - 2; k >= 0 && k < tt.n {
				want = float32(tt.first + k)
			}
			if v != want {
				t.Errorf("from %d to %d: sample %d is %g, want %g", tt.first, tt.last, i-2, v, want)
			}
		}
	}
}
