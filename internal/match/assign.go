package match

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"
)

// A Party is a recording as one of its device's: which device wrote it, its
// place in the order of that device's names, and when it says it was made.
type Party struct {
	Device string
	Order  int
	Made   float64 // seconds on the device's own calendar, NaN or 0 when it does not say
}

// A Link says that a clip and a sound were measured to match.
type Link struct {
	Clip, Sound int     // indices
	Strength    float64 // of the fine match, standard deviations
	Rest        float64 // the same without its best window
	Score       float64 // of the sketch, standard deviations
	From, To    float64 // clip seconds that the sound covers
	Start       float64 // sound seconds at From
	Halves      float64 // seconds: disagreement of the two halves, NaN when unknown
	HalfHeights [2]float64
	Claps       int     // sharp sounds found in both at the same moment
	Lead        float64 // how far the loudest agrees more than the rest, as align.Voice.Leads; NaN when unknown
	Steady      float64 // how much of what is loud is held tones, as align.Voice.Steady
	Beyond      float64 // how clearly more agrees than the loudest twentieth, as align.Voice.Beyond; NaN when unknown
	Thin        bool    // hardly anything but claps to hear in the clip
	Sigma       float64 // seconds: of the place
	Astray      bool    // a part of the take is heard elsewhere than the rest says
	Drift       float64 // seconds per second
}

// A Verdict is what a Decision says of a link.
type Verdict int

// The verdicts on a link.
const (
	Refused Verdict = iota
	Unsure
	Sure
)

// A Decision is the verdict on a link with its reasons in words.
type Decision struct {
	Link    Link
	Verdict Verdict
	Why     []string
	Chance  float64  // of being wrong, 0 to 1
	rivals  []string // the rules it breaks with others as strong, one by one
}

// Where the verdicts change, in standard deviations of the fine match: of the
// whole, and of what is left without its best window, so that one clap that
// lies on another makes no take. Unrelated recordings of one voice in one room,
// retakes included, reached 11 and 7 in the trial that docs/accuracy.md
// describes; right pairs of 20 s and more stood above 50 and 40, of 5 s above
// 20 and 12.
const (
	sureFrom, sureRest     = 14.0, 9.0
	unsureFrom, unsureRest = 11.0, 7.0
	clapFrom               = 7.0 // where hardly anything but a clap is to be heard
)

// sureLead is how far the loudest in the sound must lead in what agrees for the
// match to be of one moment, and not of one piece of music that played at two.
// Of some thousand meetings behind which one recording of music plays, with
// talk over it, none of a strength of sureFrom and more reached 0.4
// (docs/accuracy.md); right pairs without such music lie above 0.5.
//
// mostSteady is how much of what is loud may be held tones: talk stays near
// nought, over a loud hum under 0.26, and four in five pieces of music that are
// all there is to hear lie above. Nobody can tell one playing of a record from
// another then.
//
// someSteady is how much may be where the loudest does not even lead (evenLead): talk
// that hardly rises over music is nearly all music to the ear, which reaches both
// microphones by ways of its own. Three such pairs of one moment were laid on a
// reflection of the music 36 ms off (docs/accuracy.md); they had 0.24 to 0.27, and
// led by 0.5 to 0.8.
//
// sureBeyond is how clearly more than the loudest must agree, in deviations.
// Claps that are one recording agree in nothing else, and stay under 3.
const (
	sureLead   = 0.45
	mostSteady = 0.28
	someSteady = 0.2
	evenLead   = 1.0
	sureBeyond = 4.0
	mostSigma  = 0.003 // seconds
)

// halfGap is how far the halves of a take may disagree, seconds, when both are
// clear: more is no clock.
const halfGap = 0.001

// Assign decides on links so that the rules of the world are kept: clips of
// one camera do not overlap in time, nor do recordings of one recorder. A link
// that breaks a rule against a much stronger one is refused, against one of
// its like it makes both unsure. Decisions come in the order of clips, the
// strongest sound first.
func Assign(clips, sounds []Party, links []Link) []Decision {
	var out []Decision
	for _, l := range links {
		if d := Judge(l); d.Verdict != Refused {
			out = append(out, d)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Link.Strength > out[j].Link.Strength })
	heard := heardAgain(out, clips, sounds)
	out = settle(out, clips, sounds, heard.again)
	heard.doubt(out)
	out = addByClap(out, clips, sounds, links)
	orderNotes(out, clips, sounds, heard.again)
	for i := range out {
		out[i].Chance = out[i].chance(len(sounds), links, heard.leads())
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Link.Clip < out[j].Link.Clip })
	return out
}

// Judge looks at one link by itself, as if no other recording were there.
func Judge(l Link) Decision {
	d := Decision{Link: l, Verdict: Sure}
	switch {
	case !l.holds():
		d.Verdict = Refused
	case l.Strength < sureFrom:
		d.Verdict = Unsure
		d.say("the match stands only %.1f times above the noise; %.0f is asked for", l.Strength, sureFrom)
	case l.Rest < sureRest:
		d.Verdict = Unsure
		d.say("the match stands %.0f times above the noise, but only %.1f without its best moment; %.0f is asked for", l.Strength, l.Rest, sureRest)
	default:
		d.say("the match stands %.0f times above the noise", l.Strength)
	}
	if l.Lead < sureLead {
		d.Verdict = min(d.Verdict, Unsure)
		d.say("it holds no better where the sound is loudest, which is the talk, than elsewhere: the same music may play at two moments")
	}
	switch {
	case l.Steady > mostSteady:
		d.Verdict = min(d.Verdict, Unsure)
		d.say("what is loudest is held tones, as of music, and a record plays the same at two moments")
	case l.Steady > someSteady && l.Lead < evenLead:
		d.Verdict = min(d.Verdict, Unsure)
		d.say("much of what is loudest is held tones, and it holds no better there: it may be laid on music, which reaches the two otherwise than the talk")
	}
	if l.Beyond < sureBeyond {
		d.Verdict = min(d.Verdict, Unsure)
		d.say("it holds in a few sharp sounds only, and one clap is like another")
	}
	if l.Sigma > mostSigma {
		d.Verdict = min(d.Verdict, Unsure)
		d.say("several reflections are about as strong, and nothing tells which arrival is the direct sound: it may lie %.0f ms off", l.Sigma*1e3)
	}
	if l.Astray {
		d.Verdict = min(d.Verdict, Unsure)
		d.say("a part of it lies elsewhere than the rest: the talker moved, or a recorder lost sound, more than could be followed")
	}
	bothClear := math.Min(l.HalfHeights[0], l.HalfHeights[1]) >= unsureFrom
	switch {
	case math.IsNaN(l.Halves) || !bothClear:
	case l.Halves > halfGap:
		d.Verdict = min(d.Verdict, Unsure)
		d.say("its two halves disagree by %.1f ms", l.Halves*1e3)
	default:
		d.say("its two halves agree within %.2f ms", math.Max(0.01, l.Halves*1e3))
	}
	if l.Claps > 0 {
		d.say("%s in both at the same moment", plural(l.Claps, "clap"))
	}
	return d
}

// holds tells whether a link is worth more than unrelated recordings give.
func (l *Link) holds() bool { return l.Strength >= unsureFrom && l.Rest >= unsureRest }

func (d *Decision) say(format string, args ...any) {
	d.Why = append(d.Why, fmt.Sprintf(format, args...))
}

func plural(n int, noun string) string {
	if n == 1 {
		return "a " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// settle keeps the rules among decisions that come strongest first. Where
// something is heard again and again, no rule is waived.
func settle(in []Decision, clips, sounds []Party, again bool) []Decision {
	var kept []Decision
	for _, d := range in {
		refused := false
		for i := range kept {
			rule := breaks(&d.Link, &kept[i].Link, clips, sounds)
			if rule == "" {
				continue
			}
			if d.Link.Strength < kept[i].Link.Strength/2 {
				refused = true
				break
			}
			if !again && d.Link.Strength >= 2*sureFrom && rule == soundsOverlap && sameTime(&d.Link, &kept[i].Link, sounds) {
				continue // both are beyond doubt: two recorders, not one
			}
			d.Verdict, kept[i].Verdict = Unsure, Unsure
			d.rivals, kept[i].rivals = append(d.rivals, rule), append(kept[i].rivals, rule)
		}
		if !refused {
			kept = append(kept, d)
		}
	}
	for i := range kept {
		kept[i].sayRivals()
	}
	return kept
}

// sayRivals says each rule once, however many break it.
func (d *Decision) sayRivals() {
	for _, rule := range []string{clipsOverlap, soundsOverlap, twicePlaced} {
		n := 0
		for _, r := range d.rivals {
			if r == rule {
				n++
			}
		}
		switch {
		case n == 1:
			d.say("%s; another match is as strong", rule)
		case n > 1:
			d.say("%s; %d other matches are as strong", rule, n)
		}
	}
}

// sameTime tells whether the calendars of two recordings let them have heard
// one moment of a clip; they do when one of them says nothing.
func sameTime(a, b *Link, sounds []Party) bool {
	x, y := sounds[a.Sound], sounds[b.Sound]
	if x.Made == 0 || y.Made == 0 || math.IsNaN(x.Made) || math.IsNaN(y.Made) {
		return true
	}
	return math.Abs(x.Made+a.Start-a.From-y.Made-b.Start+b.From) < math.Max(calendarSlack, a.To-a.From)
}

// The rules, as they are told.
const (
	clipsOverlap  = "it would make two clips of one camera overlap in time"
	soundsOverlap = "it would make two recordings of one recorder overlap in time"
	twicePlaced   = "the clip would lie in one sound twice"
)

// breaks names the rule that two links cannot both keep, or "".
func breaks(a, b *Link, clips, sounds []Party) string {
	const slack = 0.5 // seconds
	switch {
	case a.Clip == b.Clip && a.Sound == b.Sound:
		return twicePlaced
	case a.Sound == b.Sound && clips[a.Clip].Device == clips[b.Clip].Device:
		if overlap(a.Start, a.To-a.From, b.Start, b.To-b.From) > slack {
			return clipsOverlap
		}
	case a.Clip == b.Clip && sounds[a.Sound].Device == sounds[b.Sound].Device:
		if overlap(a.From, a.To-a.From, b.From, b.To-b.From) > slack {
			return soundsOverlap
		}
	}
	return ""
}

func overlap(from1, len1, from2, len2 float64) float64 {
	return math.Min(from1+len1, from2+len2) - math.Max(from1, from2)
}

// addByClap gives clips that nothing matched, and in which hardly anything but
// a clap is to be heard, the sound that byClap names. One clap is like another, so
// that this is never sure. Where two cannot both be, the clip that is better
// matched has its sound.
func addByClap(out []Decision, clips, sounds []Party, links []Link) []Decision {
	for _, l := range byClap(out, clips, sounds, links) {
		d := Decision{Link: l, Verdict: Unsure}
		d.say("hardly anything but %s is to be heard; it lies on one in the sound, and one clap is like another", plural(l.Claps, "clap"))
		clash := false
		for i := range out {
			clash = clash || breaks(&l, &out[i].Link, clips, sounds) != ""
		}
		if !clash {
			out = append(out, d)
		}
	}
	return out
}

// byClap finds for every such clip the best sound that holds such a clap: one that
// no other clip lies in first, then one whose order or file time agrees. The best
// matched come first.
func byClap(out []Decision, clips, sounds []Party, links []Link) []Link {
	taken := map[int]bool{}
	used := map[int]bool{}
	for _, d := range out {
		taken[d.Link.Clip], used[d.Link.Sound] = true, true
	}
	worth := func(l Link) float64 {
		w := l.Strength
		if !used[l.Sound] {
			w += 10
		}
		if agrees(l, out, -1, clips, sounds) {
			w += 5
		}
		if gap := calendarGap(l, out, clips, sounds); gap < calendarSlack {
			w += 5
		}
		return w
	}
	better := func(a, b Link) int { return cmp.Compare(worth(b), worth(a)) }
	best := map[int]Link{}
	for _, l := range links {
		if taken[l.Clip] || !l.Thin || l.Claps == 0 || l.Strength < clapFrom || l.holds() {
			continue
		}
		if b, ok := best[l.Clip]; !ok || better(l, b) < 0 {
			best[l.Clip] = l
		}
	}
	return slices.SortedFunc(maps.Values(best), func(a, b Link) int { return cmp.Or(better(a, b), cmp.Compare(a.Clip, b.Clip)) })
}

// agrees tells whether a link keeps the order in which both devices numbered
// their recordings, against all decisions between the same two devices but the
// one at index but.
func agrees(l Link, out []Decision, but int, clips, sounds []Party) bool {
	c, s := clips[l.Clip], sounds[l.Sound]
	for i, d := range out {
		oc, os := clips[d.Link.Clip], sounds[d.Link.Sound]
		if i == but || oc.Device != c.Device || os.Device != s.Device {
			continue
		}
		if (oc.Order-c.Order)*(os.Order-s.Order) < 0 {
			return false
		}
		if os.Order == s.Order && (oc.Order-c.Order)*sign(d.Link.Start-l.Start) < 0 {
			return false
		}
	}
	return true
}

// calendarSlack is how well the calendars of two devices can be trusted once
// other takes have shown how far apart they are, seconds: a file's time may be
// that of its start or of its end, and is whole to two seconds on some cards.
const calendarSlack = 60

// calendarGap is how far a link's file times stand from what the sure takes of
// the same two devices show, seconds; +Inf when nothing can be said. Calendars
// are minutes to years off, so that this is a hint among equals, never proof.
func calendarGap(l Link, out []Decision, clips, sounds []Party) float64 {
	apart := func(l Link) float64 {
		c, s := clips[l.Clip], sounds[l.Sound]
		if c.Made == 0 || s.Made == 0 {
			return math.NaN()
		}
		return s.Made + l.Start - l.From - c.Made
	}
	gap := math.Inf(1)
	for _, d := range out {
		if d.Verdict != Sure || clips[d.Link.Clip].Device != clips[l.Clip].Device || sounds[d.Link.Sound].Device != sounds[l.Sound].Device {
			continue
		}
		if g := math.Abs(apart(l) - apart(d.Link)); g < gap {
			gap = g
		}
	}
	return gap
}

func sign(v float64) int {
	switch {
	case v > 0:
		return 1
	case v < 0:
		return -1
	}
	return 0
}

// orderNotes says whether the order on the card agrees with the order on the
// recorder, and doubts a weak match that stands against it. Where something is
// heard again and again, it doubts every one that stands against another sure one.
func orderNotes(out []Decision, clips, sounds []Party, again bool) {
	var sure []Decision
	for _, d := range out {
		if d.Verdict == Sure {
			sure = append(sure, d)
		}
	}
	for i, kept := range InOrder(out, clips, sounds) {
		if kept {
			continue
		}
		d := &out[i]
		if d.Link.Strength < 2*sureFrom || again && !agrees(d.Link, sure, -1, clips, sounds) {
			d.Verdict = min(d.Verdict, Unsure)
		}
		d.say("its place in the order of file names does not agree with the other takes")
	}
}
