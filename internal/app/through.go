package app

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"earshot/internal/align"
	"earshot/internal/clocks"
	"earshot/internal/dsp"
	"earshot/internal/fault"
	"earshot/internal/match"
)

// A web is all recordings of a day, tied by what was measured between them:
// clips with sounds, and where that leaves a recording lost, clips with clips
// of other cameras and sounds with sounds of other recorders.
//
// It places a recording where it was too short or too noisy to be found by
// itself, and calls out a pair that says otherwise than all others.
type web struct {
	day       *Day
	m         *measurer
	decisions []match.Decision
	ties      []tie
	links     []clocks.Link // of the sure decisions that are pillars, then of ties
	owner     []int         // of a link: the decision's index, or -1 - the tie's
	clock     *clocks.Day
	through   map[[2]int][]string // by clip and sound: what it was placed through
}

// A tie is a link between two clips or two sounds. Recordings are counted
// clips first, then sounds.
type tie struct {
	a, b  int
	found *align.Found
}

// weave goes through a day's decisions with the help of its other recordings.
// A day of one camera and one recorder has no ways round, and is left as it is.
func (d *Day) weave(ctx context.Context, m *measurer, decisions []match.Decision) (*web, error) {
	w := &web{day: d, m: m, decisions: decisions, through: map[[2]int][]string{}}
	if len(devices(d.clips)) < 2 && len(devices(d.sounds)) < 2 {
		return w, nil
	}
	if err := w.seek(ctx); err != nil {
		return nil, err
	}
	w.solve()
	w.callOut()
	return w, w.place(ctx)
}

// devices lists those that wrote recs, in the order of recs.
func devices(recs []*recording) (out []string) {
	for _, r := range recs {
		if !slices.Contains(out, r.device) {
			out = append(out, r.device)
		}
	}
	return out
}

// rec is a recording by its number.
func (w *web) rec(i int) *recording {
	if n := len(w.day.clips); i >= n {
		return w.day.sounds[i-n]
	}
	return w.day.clips[i]
}

// seek looks for clips without a sure sound in clips of other cameras that
// have one, and for sounds without a sure clip in those of other recorders.
func (w *web) seek(ctx context.Context) error {
	sureClip, sureSound := map[int]bool{}, map[int]bool{}
	for _, d := range w.decisions {
		if d.Verdict == match.Sure {
			sureClip[d.Link.Clip], sureSound[d.Link.Sound] = true, true
		}
	}
	if err := w.seekAmong(ctx, w.day.clips, sureClip, 0); err != nil {
		return err
	}
	return w.seekAmong(ctx, w.day.sounds, sureSound, len(w.day.clips))
}

// seekAmong holds the lost of recs against those of other devices that are
// not; first is the number of recs[0].
func (w *web) seekAmong(ctx context.Context, recs []*recording, sure map[int]bool, first int) error {
	for _, device := range devices(recs) {
		var lost, others []int
		for i, r := range recs {
			switch {
			case sure[i] && r.device != device:
				others = append(others, i)
			case !sure[i] && r.device == device && heardAnything(r):
				lost = append(lost, i)
			}
		}
		if len(lost) == 0 || len(others) == 0 {
			continue
		}
		m := &measurer{app: w.m.app, fresh: w.m.fresh, tell: w.m.tell, far: true, clips: pick(recs, lost), sounds: pick(recs, others)}
		if err := m.run(ctx); err != nil {
			return err
		}
		var links []match.Link
		for i, row := range m.links {
			for k, l := range row {
				if l != nil {
					links = append(links, toLink(i, k, m.clips[i], m.sounds[k], l))
				}
			}
		}
		for _, d := range match.Assign(parties(m.clips), parties(m.sounds), links) {
			if d.Verdict == match.Sure {
				i, k := d.Link.Clip, d.Link.Sound
				w.ties = append(w.ties, tie{first + lost[i], first + others[k], m.links[i][k].Found})
			}
		}
	}
	return nil
}

func pick(recs []*recording, which []int) []*recording {
	out := make([]*recording, len(which))
	for n, i := range which {
		out[n] = recs[i]
	}
	return out
}

func heardAnything(r *recording) bool {
	for _, t := range r.tracks {
		if !t.Silent && t.Rows > 0 {
			return true
		}
	}
	return false
}

// solve lays on one clock all that is tied for sure.
func (w *web) solve() {
	n := len(w.day.clips)
	recs := make([]clocks.Recording, n+len(w.day.sounds))
	for i := range recs {
		r := w.rec(i)
		kind := "sound\x00"
		if i < n {
			kind = "clip\x00"
		}
		recs[i] = clocks.Recording{Device: kind + r.device, Length: lengthOf(r)}
	}
	for i, d := range w.decisions {
		if d.Verdict == match.Sure {
			f := w.m.links[d.Link.Clip][d.Link.Sound].Found
			w.links, w.owner = append(w.links, clockLink(d.Link.Clip, n+d.Link.Sound, f)), append(w.owner, i)
		}
	}
	for i, t := range w.ties {
		w.links, w.owner = append(w.links, clockLink(t.a, t.b, t.found)), append(w.owner, -1-i)
	}
	w.clock = clocks.Solve(recs, w.links)
}

// lengthOf is how much sound a recording holds, seconds.
func lengthOf(r *recording) (longest float64) {
	for _, t := range r.tracks {
		longest = max(longest, float64(t.Samples)/dsp.ProxyRate)
	}
	return longest
}

func clockLink(a, b int, f *align.Found) clocks.Link {
	return clocks.Link{A: a, B: b, Alignment: f.Alignment, Mid: f.Mid, MidSigma: f.MidSigma, DriftSigma: f.DriftSigma,
		From: f.From, To: f.To, Strength: f.Strength}
}

// otherMoment is how far a clip must lie from where the others say for it to be
// another moment, seconds. Nearer than that, no two moments sound alike: a
// recorder lost samples between two takes, which are right each by itself.
const otherMoment = 0.5

// callOut doubts pairs that break a loop, and those that stand in a broken one
// of which nothing tells which link is wrong.
//
// A pair that is sure by itself and breaks a loop is no chance: the clip matches two
// moments of the day, as it does where one is played back in the other, and
// however many recorders heard the one, they count as one witness. The clip's
// other pairs stay sure only if the order of file names speaks for them and
// against the pair that broke the loop.
func (w *web) callOut() {
	inOrder := match.InOrder(w.decisions, parties(w.day.clips), parties(w.day.sounds))
	against := map[int][]int{} // by clip: its decisions that broke a loop
	for k, c := range w.clock.Checks {
		n := w.owner[k]
		switch {
		case n < 0:
		case c.Broken && c.Tied && math.Abs(c.Others) < otherMoment:
			w.decisions[n].Why = append(w.decisions[n].Why, fmt.Sprintf("by the other recordings it would lie %s: one of them may have lost samples", apart(c.Others)))
		case c.Doubt && c.Open < otherMoment:
		case c.Broken && c.Tied:
			w.doubt(n, breaksLoop(c.Others))
			against[w.links[k].A] = append(against[w.links[k].A], n)
		case c.Broken || c.Doubt:
			w.doubt(n, "it stands in a loop of recordings that does not close, and nothing tells which of its links is wrong")
		}
	}
	for n := range w.decisions {
		by, ok := w.elsewhere(n)
		if !ok {
			continue
		}
		w.doubt(n, breaksLoop(by))
		if l := w.decisions[n].Link; match.Judge(l).Verdict == match.Sure {
			against[l.Clip] = append(against[l.Clip], n)
		}
	}
	for n := range w.decisions {
		if d := &w.decisions[n]; d.Verdict == match.Sure {
			for _, other := range against[d.Link.Clip] {
				if !inOrder[n] || inOrder[other] {
					w.doubt(n, "the clip matches another moment too, in "+named([]string{w.day.sounds[w.decisions[other].Link.Sound].path})+", and the loop of the two does not close: one may be played back in the other")
					break
				}
			}
		}
	}
}

// breaksLoop says so, by how much, seconds.
func breaksLoop(by float64) string {
	return fmt.Sprintf("it breaks a loop: by the other recordings the clip lies %s in this sound", apart(by))
}

// elsewhere tells of a decision that was unsure before loops were gone round
// whether its clip lies at another moment of the sound by the other recordings,
// and by how much, seconds.
func (w *web) elsewhere(n int) (by float64, ok bool) {
	if slices.Contains(w.owner, n) {
		return 0, false
	}
	l := &w.decisions[n].Link
	p, ok := w.clock.Between(l.Clip, len(w.day.clips)+l.Sound)
	if !ok {
		return 0, false
	}
	mid := (l.From + l.To) / 2
	by = p.Sound(mid) - w.m.links[l.Clip][l.Sound].Found.At(mid)
	return by, math.Abs(by) >= otherMoment+3*p.SigmaAt(mid)
}

// doubt makes a decision unsure, for a reason.
func (w *web) doubt(n int, why string) {
	d := &w.decisions[n]
	d.Verdict = min(d.Verdict, match.Unsure)
	d.Why = append(d.Why, why)
}

// apart says in words by how much something lies later or earlier, seconds.
func apart(by float64) string {
	word := "later"
	if by < 0 {
		word, by = "earlier", -by
	}
	if by < 1 {
		return fmt.Sprintf("%.0f ms %s", by*1e3, word)
	}
	return fmt.Sprintf("%.1f s %s", by, word)
}

// trusted tells whether a link is still beyond doubt.
func (w *web) trusted(k int) bool {
	c := w.clock.Checks[k]
	return !c.Broken && !c.Doubt && (w.owner[k] < 0 || w.decisions[w.owner[k]].Verdict == match.Sure)
}

// path names the recordings over which a and b are tied, by the fewest links
// that are beyond doubt; none when nothing but doubt ties them.
func (w *web) path(a, b int) []string {
	from := map[int]int{a: a}
	for queue := []int{a}; len(queue) > 0; queue = queue[1:] {
		at := queue[0]
		for k, l := range w.links {
			if !w.trusted(k) {
				continue
			}
			for _, step := range [][2]int{{l.A, l.B}, {l.B, l.A}} {
				if _, been := from[step[1]]; step[0] == at && !been {
					from[step[1]] = at
					queue = append(queue, step[1])
				}
			}
		}
	}
	if _, reached := from[b]; !reached {
		return nil
	}
	var names []string
	for at := from[b]; at != a; at = from[at] {
		names = append([]string{w.rec(at).path}, names...)
	}
	return names
}

// named is a list of files in words.
func named(paths []string) string {
	words := make([]string, len(paths))
	for i, p := range paths {
		words[i] = fault.Quote(filepath.Base(p))
	}
	return strings.Join(words, " and ")
}

// drift is what the clocks of the whole day say of one clip against one sound,
// seconds per second; false when nothing ties the two.
func (w *web) drift(clip, sound int) (drift, sigma float64, ok bool) {
	if w == nil || w.clock == nil {
		return 0, math.Inf(1), false
	}
	p, ok := w.clock.Between(clip, len(w.day.clips)+sound)
	if !ok {
		return 0, math.Inf(1), false
	}
	return p.Drift, p.DriftSigma(), true
}
