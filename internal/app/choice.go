package app

import (
	"fmt"
	"math"
	"slices"

	"earshot/internal/align"
	"earshot/internal/shoot"
)

// A Choice is what becomes of a clip that some sound heard, or that a person
// put together with one: what was measured, and beside it what was said.
type Choice struct {
	Word  shoot.Word
	day   *Day
	index int      // of what was measured in the day's takes; -1 where it is no take
	was   *dayTake // as measured; nil where only a person pairs the two
	laid  dayTake  // as it is to be laid
	other []*recording
}

// Choices lists what becomes of every clip that has a sound, in the order of
// the clips. Words are by key and may be other than those heeded while
// measuring.
func (d *Day) Choices(words map[string]shoot.Word) []*Choice {
	var out []*Choice
	heard := map[*recording][]int{}
	for i := range d.takes {
		heard[d.takes[i].clip] = append(heard[d.takes[i].clip], i)
	}
	for _, c := range d.clips {
		if choice := d.choose(c, heard[c], words[d.key(c)]); choice != nil {
			out = append(out, choice)
		}
	}
	return out
}

// Choice is what would become of a clip under a word, nil where it has no sound
// then.
func (d *Day) Choice(clip *Recording, w shoot.Word) *Choice {
	var heard []int
	c := d.at(clip.Path(), d.clips)
	if c == nil {
		return nil
	}
	for i := range d.takes {
		if d.takes[i].clip == c {
			heard = append(heard, i)
		}
	}
	return d.choose(c, heard, w)
}

// choose settles a clip's sound and place by its word and the takes it has.
func (d *Day) choose(c *recording, takes []int, w shoot.Word) *Choice {
	choice := &Choice{Word: w, day: d, index: -1}
	sound := d.named(w.Sound, d.sounds)
	for _, i := range takes {
		if w.Refuses(d.key(d.takes[i].sound)) {
			continue
		}
		switch n := choice.index; {
		case n < 0:
			choice.index = i
		case d.takes[i].sound == sound || d.takes[n].sound != sound && d.better(i, n):
			choice.other = append(choice.other, d.takes[n].sound)
			choice.index = i
		default:
			choice.other = append(choice.other, d.takes[i].sound)
		}
	}
	if n := choice.index; n >= 0 && (sound == nil || d.takes[n].sound == sound) {
		choice.was = &d.takes[n]
		choice.laid = d.takes[n]
		if w.Line != nil {
			choice.laid.found = laidAt(choice.was.found, alignmentOf(*w.Line), fullLength(c), fullLength(choice.laid.sound))
		}
		return choice
	}
	if sound == nil || w.Line == nil {
		if choice.index < 0 {
			return nil
		}
		choice.was, choice.laid = &d.takes[choice.index], d.takes[choice.index] // a sound that is not here any more
		return choice
	}
	if n := choice.index; n >= 0 {
		choice.other, choice.index = append(choice.other, d.takes[n].sound), -1
	}
	d.byHand(choice, c, sound)
	return choice
}

// byHand lays a clip in a sound where a person put it: along what was measured
// there, where something was, or along their line alone.
func (d *Day) byHand(choice *Choice, c, sound *recording) {
	line := alignmentOf(*choice.Word.Line)
	if l := d.linkNear(c, sound, line); l != nil {
		choice.was = &dayTake{clip: c, sound: sound, link: l, found: *l.Found}
		choice.laid = *choice.was
		choice.laid.found = laidAt(*l.Found, line, fullLength(c), fullLength(sound))
		return
	}
	l := &link{ClipTrack: loudestTrack(c), SoundTrack: loudestTrack(sound)}
	f := align.Found{Alignment: line, Halves: math.NaN(), DriftSigma: math.Inf(1), MidSigma: math.Inf(1)}
	f.From, f.To = line.Covered(fullLength(c), fullLength(sound))
	f.Mid = (f.From + f.To) / 2
	l.Found = &f
	choice.laid = dayTake{clip: c, sound: sound, link: l, found: f}
}

// linkNear is what was measured of a clip in a sound within align.Tolerance of
// a line, nil where nothing was.
func (d *Day) linkNear(c, sound *recording, line align.Alignment) *link {
	for _, l := range d.linksOf(c, sound) {
		if math.Abs(l.Found.At(l.Found.Mid)-line.Sound(l.Found.Mid)) <= align.Tolerance {
			return l
		}
	}
	return nil
}

// linksOf are the places of a clip in a sound that were measured.
func (d *Day) linksOf(c, sound *recording) (out []*link) {
	i, k := slices.Index(d.clips, c), slices.Index(d.sounds, sound)
	if best := d.measured.links[i][k]; best != nil {
		out = append(out, best)
		for n := range best.Others {
			out = append(out, &best.Others[n])
		}
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, t := range d.nearby {
		if t.clip == c && t.sound == sound {
			out = append(out, t.link)
		}
	}
	return out
}

// laidAt is f moved so that its first line becomes line: every part of it moves
// by as much, and what the recorder lost stays lost.
func laidAt(f align.Found, line align.Alignment, clipLen, soundLen float64) align.Found {
	first := firstLine(&f)
	by := align.Alignment{Offset: line.Offset - first.Offset, Drift: line.Drift - first.Drift}
	move := func(a align.Alignment) align.Alignment {
		return align.Alignment{Offset: a.Offset + by.Offset, Drift: a.Drift + by.Drift}
	}
	f.Alignment = move(f.Alignment)
	f.Spans = append([]align.Span(nil), f.Spans...)
	for i := range f.Spans {
		f.Spans[i].Alignment = move(f.Spans[i].Alignment)
	}
	last := f.Alignment
	if n := len(f.Spans); n > 0 {
		last = f.Spans[n-1].Alignment
	}
	f.From, _ = firstLine(&f).Covered(clipLen, soundLen)
	_, f.To = last.Covered(clipLen, soundLen)
	if n := len(f.Spans); n > 0 {
		f.Spans[0].From, f.Spans[n-1].To = f.From, f.To
	}
	return f
}

// fullLength is how long a recording lasts, seconds: its picture, or its sound
// where it has none.
func fullLength(r *recording) float64 { return math.Max(clipLength(r.info), lengthOf(r)) }

func alignmentOf(l shoot.Line) align.Alignment {
	return align.Alignment{Offset: l.Offset, Drift: l.Drift * 1e-6}
}

// sameCover is by how much less of a clip a sound may cover, seconds, and still
// serve it as well.
const sameCover = 0.5

// better tells whether take i serves its clip better than take b: surer, then
// covering more, then worn by the clip's nearest talker, then stronger.
func (d *Day) better(i, b int) bool {
	x, y := &d.takes[i], &d.takes[b]
	vx, vy := d.result.Document.Takes[i].Verdict, d.result.Document.Takes[b].Verdict
	if vx != vy {
		return vx == shoot.Sure
	}
	if dx, dy := x.found.To-x.found.From, y.found.To-y.found.From; math.Abs(dx-dy) > sameCover {
		return dx > dy
	}
	if n, ok := d.nearest[x.clip]; ok && (n == i || n == b) {
		return n == i
	}
	return x.found.Strength > y.found.Strength
}

// Clip is the choice's clip.
func (c *Choice) Clip() *Recording { return &Recording{c.laid.clip} }

// Sound is the sound that is laid under it.
func (c *Choice) Sound() *Recording { return &Recording{c.laid.sound} }

// Others are the sounds that heard the clip too.
func (c *Choice) Others() []*Recording {
	out := make([]*Recording, len(c.other))
	for i, r := range c.other {
		out[i] = &Recording{r}
	}
	return out
}

// Take is what was measured, as the document has it; of a pair that only a
// person made, what they said.
func (c *Choice) Take() shoot.Take {
	if c.index >= 0 {
		return c.day.result.Document.Takes[c.index]
	}
	f := &c.laid.found
	line := firstLine(f)
	return shoot.Take{Clip: c.laid.clip.path, Sound: c.laid.sound.path, Offset: line.Offset, Drift: line.Drift * 1e6,
		Verdict: shoot.Unsure, DriftFrom: shoot.FromNone, Spans: spansOf(f), Claps: c.Claps(), Chance: 1,
		Why: []string{"put together by hand"}, Candidates: []shoot.Candidate{}}
}

// Hand tells whether only a person says that the two belong together.
func (c *Choice) Hand() bool { return c.index < 0 }

// Settled tells whether there is nothing to look at any more: the take is sure,
// or a person approved it.
func (c *Choice) Settled() bool {
	return c.Word.Approved || !c.Hand() && c.Take().Verdict == shoot.Sure
}

// Moved is by how many seconds the sound is laid later than measured, in the
// middle of what it covers; negative: earlier. 0 where nothing was measured.
func (c *Choice) Moved() float64 {
	if c.was == nil {
		return 0
	}
	t := c.was.found.Mid
	return c.was.found.At(t) - c.laid.found.At(t)
}

// Line is where the sound lies at the clip's first moment.
func (c *Choice) Line() shoot.Line {
	line := firstLine(&c.laid.found)
	return shoot.Line{Offset: line.Offset, Drift: line.Drift * 1e6}
}

// MeasuredLine is where it was measured to lie; where nothing was measured, where
// a person laid it.
func (c *Choice) MeasuredLine() shoot.Line {
	if c.was == nil {
		return c.Line()
	}
	line := firstLine(&c.was.found)
	return shoot.Line{Offset: line.Offset, Drift: line.Drift * 1e6}
}

// Laid is what there is to see and hear of it.
func (c *Choice) Laid() Laid {
	l := Laid{Clip: c.Clip(), Sound: c.Sound(), ClipTrack: c.laid.link.ClipTrack, SoundTrack: c.laid.link.SoundTrack,
		Spans: spansOf(&c.laid.found)}
	if len(c.laid.clip.tracks) == 0 {
		l.ClipTrack = -1
	}
	return l
}

// Measured are the lines that were measured; none where nothing was.
func (c *Choice) Measured() []shoot.Span {
	if c.was == nil {
		return []shoot.Span{}
	}
	return spansOf(&c.was.found)
}

// Covers is the part of the clip that the sound covers, clip seconds.
func (c *Choice) Covers() (from, to float64) { return c.laid.found.From, c.laid.found.To }

// Heard is the sound's time, seconds, that plays at the clip's moment t.
func (c *Choice) Heard(t float64) float64 { return c.laid.found.At(t) }

// Claps are the sharp sounds that both hold at one moment, where they were
// measured to lie.
func (c *Choice) Claps() []shoot.Clap {
	t := &c.laid
	if c.was != nil {
		t = c.was
	}
	out := []shoot.Clap{}
	if len(t.clip.tracks) == 0 || len(t.sound.tracks) == 0 {
		return out
	}
	for _, p := range claps(t.clip.tracks[t.link.ClipTrack].Onsets, t.sound.tracks[t.link.SoundTrack].Onsets, t.found.At) {
		out = append(out, shoot.Clap{Clip: p[0], Sound: p[1]})
	}
	return out
}

// saidWords tells in words what a person said of a choice.
func saidWords(c *Choice) (said []string) {
	if c.Hand() {
		said = append(said, "put together by hand")
	}
	if by := c.Moved(); by != 0 {
		way := "later"
		if by < 0 {
			way = "earlier"
		}
		said = append(said, fmt.Sprintf("laid %.2f ms %s than measured, by hand", math.Abs(by)*1e3, way))
	}
	if n := len(c.Word.Refused); n > 0 {
		said = append(said, count(n, "other sound")+" refused")
	}
	if c.Word.Approved {
		said = append(said, "approved")
	}
	return said
}
