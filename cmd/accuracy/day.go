package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"time"

	"earshot/internal/align"
	"earshot/internal/app"
	"earshot/internal/clocks"
	"earshot/internal/dsp"
	"earshot/internal/frame"
	"earshot/internal/media"
	"earshot/internal/media/mediatest"
	"earshot/internal/scene"
	"earshot/internal/shoot"
	"earshot/internal/store"
)

// A dayTally counts what became of the clips of one kind of moment, of all
// days made.
type dayTally struct {
	pairs              int // clip and sound, with a second of talk and more in common
	alone, through     int // found by themselves, or placed through others; sure and right
	unsure, wrong      int // wrong: sure of the wrong place
	clips, clipsLost   int // clips, and those that no sound was found for but through others
	clipsFound         int // of the lost ones, those with a sure and right sound
	wrongPairs, called int // pairs of the wrong place that are not sure, and those of them that a loop called out
}

// A loopTally is how far loops of one kind are open, milliseconds; how many by
// no more than tenth, and of the others by no more than 3 of their deviations.
type loopTally struct {
	open           []float64
	closed, stated int
}

// Who is heard in a loop.
const oneTalks, twoTalk = "one talker", "two talkers"

// tenth is how far a loop may be open and count as closed, seconds.
const tenth = 1e-4

// A dayRig makes days and measures them.
type dayRig struct {
	rig
	kinds map[string]*dayTally
	loops map[string]*loopTally
	net   struct {
		squares float64
		freedom int
	}
	notes []string
}

// days makes n days, measures them and prints what became of them.
func days(ctx context.Context, w io.Writer, seed uint64, n int) error {
	plain, err := newRig()
	if err != nil {
		return err
	}
	r := &dayRig{rig: *plain, kinds: map[string]*dayTally{}, loops: map[string]*loopTally{}}
	for i := range n {
		if err := r.day(ctx, seed+uint64(i)); err != nil {
			return err
		}
	}
	r.print(w, n)
	return nil
}

// A madeDay is a day rendered at the rate that is compared at.
type madeDay struct {
	*scene.ManyDay
	dir           string
	clips, sounds [][]float32
}

func (r *dayRig) day(ctx context.Context, seed uint64) error {
	dir, err := os.MkdirTemp("", "accuracy-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	m := &madeDay{ManyDay: scene.NewManyDay(seed, r.phrases), dir: dir}
	if err := m.write(); err != nil {
		return err
	}
	a := &app.App{Engine: &mediatest.Fake{}, Cache: store.Open(filepath.Join(dir, "cache"), store.DefaultLimit)}
	res, err := a.Pair(ctx, app.PairOptions{Paths: []string{filepath.Join(dir, "day")}})
	if err != nil {
		return err
	}
	r.count(m, &res.Document)
	return r.goRound(m)
}

// write renders all recordings and writes them as files of the fake engine.
func (m *madeDay) write() error {
	picture := media.Picture{Codec: "h264", Width: 480, Height: 270, Rate: frame.Rate{Num: 25, Den: 1}}
	save := func(name string, f mediatest.File) error {
		path := m.path(name)
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			return err
		}
		return mediatest.Write(path, f)
	}
	for i := range m.Scene.Clips {
		d := &m.Scene.Clips[i]
		m.clips = append(m.clips, m.Scene.Render(d, dsp.ProxyRate))
		if err := save(d.Name, mediatest.Clip(picture, dsp.ProxyRate, 1, time.Time{}, m.clips[i], []byte(d.Name))); err != nil {
			return err
		}
	}
	for k := range m.Scene.Sounds {
		d := &m.Scene.Sounds[k]
		m.sounds = append(m.sounds, m.Scene.Render(d, dsp.ProxyRate))
		if err := save(d.Name, mediatest.Sound(dsp.ProxyRate, 1, time.Time{}, m.sounds[k])); err != nil {
			return err
		}
	}
	return nil
}

func (m *madeDay) path(name string) string {
	return filepath.Join(m.dir, "day", filepath.FromSlash(name))
}

// talkers are all that may be heard on a day: a take is right when it is about
// one of them.
var talkers = []int{scene.FirstWearer, scene.SecondWearer, scene.Bystander, scene.Loudspeaker}

// missed is how far a take lies from the truth about any talker in the middle
// of what it covers, seconds.
func missed(take *shoot.Take, clip, sound *scene.Device) float64 {
	found := align.Alignment{Offset: take.Offset, Drift: take.Drift * 1e-6}
	mid := (take.Spans[0].Clip[0] + take.Spans[0].Clip[1]) / 2
	best := math.Inf(1)
	for _, t := range talkers {
		best = math.Min(best, math.Abs(found.Sound(mid)-scene.Heard(clip, sound, t, mid)))
	}
	return best
}

// count holds a document against the truth.
func (r *dayRig) count(m *madeDay, doc *shoot.Document) {
	takes := map[[2]string]*shoot.Take{}
	for i := range doc.Takes {
		takes[[2]string{doc.Takes[i].Clip, doc.Takes[i].Sound}] = &doc.Takes[i]
	}
	for _, moment := range m.Moments {
		t := r.kinds[moment.Kind]
		if t == nil {
			t = &dayTally{}
			r.kinds[moment.Kind] = t
		}
		for _, i := range moment.Clips {
			r.countClip(m, t, i, takes)
		}
	}
}

// together is how much of a clip lies in a sound, seconds.
func together(clip, sound *scene.Device) float64 {
	from := math.Max(clip.Clock.Start, sound.Clock.Start)
	to := math.Min(clip.Clock.World(clip.Length), sound.Clock.World(sound.Length))
	return to - from
}

func (r *dayRig) countClip(m *madeDay, t *dayTally, i int, takes map[[2]string]*shoot.Take) {
	clip := &m.Scene.Clips[i]
	t.clips++
	byItself, by := false, false
	for k := range m.Scene.Sounds {
		sound := &m.Scene.Sounds[k]
		shared := together(clip, sound)
		if shared > 1 {
			t.pairs++
		}
		take := takes[[2]string{m.path(clip.Name), m.path(sound.Name)}]
		if take == nil {
			continue
		}
		right := shared > 0 && missed(take, clip, sound)*1e3 <= wrongBy
		sure := take.Verdict == shoot.Sure
		switch {
		case sure && !right:
			t.wrong++
			r.notes = append(r.notes, fmt.Sprintf("\nwrong and sure: %s in %s: %s", clip.Name, sound.Name, strings.Join(take.Why, "; ")))
		case !right:
			t.wrongPairs++
			if why := strings.Join(take.Why, "; "); strings.Contains(why, "loop") {
				t.called++
			}
		case sure && take.Through != nil:
			t.through++
			by = true
		case sure:
			t.alone++
			byItself = true
		default:
			t.unsure++
		}
	}
	if !byItself {
		t.clipsLost++
		if by {
			t.clipsFound++
		}
	}
}

// goRound measures every pair of recordings that ran at one moment, clips with
// clips and sounds with sounds too, and goes round their loops.
func (r *dayRig) goRound(m *madeDay) error {
	all := append(append([]scene.Device{}, m.Scene.Clips...), m.Scene.Sounds...)
	samples := append(append([][]float32{}, m.clips...), m.sounds...)
	recs := make([]clocks.Recording, len(all))
	for i := range all {
		recs[i] = clocks.Recording{Device: filepath.Dir(all[i].Name)} // no length: these clocks do not bend
	}
	for _, moment := range m.Moments {
		var links []clocks.Link
		for _, i := range moment.Clips {
			for k := range all {
				isClip := k < len(m.Scene.Clips)
				if k == i || isClip && k < i || together(&all[i], &all[k]) < 1 {
					continue
				}
				worn := !isClip && filepath.Dir(all[k].Name) != "POCKET" && slices.Contains(moment.Talkers, all[k].Wearer)
				l, err := measureLink(all, samples, i, k, !worn, moment.Talkers[0])
				if err != nil {
					return err
				}
				if l != nil && l.Strength > 14 {
					links = append(links, *l)
				}
			}
		}
		links = append(links, soundLinks(all, samples, len(m.Scene.Clips), links, moment.Talkers[0])...)
		for _, l := range clocks.Loops(len(all), links) {
			r.countLoop(moment, l)
		}
		if heardIn(moment) == oneTalks {
			d := clocks.Solve(recs, links)
			r.net.squares, r.net.freedom = r.net.squares+d.Squares, r.net.freedom+d.Freedom
		}
	}
	return nil
}

func measureLink(all []scene.Device, samples [][]float32, i, k int, far bool, talker int) (*clocks.Link, error) {
	from, to := math.Max(0, scene.Heard(&all[k], &all[i], talker, 0)), math.Min(all[i].Length, scene.Heard(&all[k], &all[i], talker, all[k].Length))
	at := (from + to) / 2
	var sound align.Source = align.Samples(samples[k])
	if far {
		sound = align.Far{Source: sound}
	}
	f, err := align.Find(align.Samples(samples[i]), sound, align.Guess{At: at, Sound: scene.Heard(&all[i], &all[k], talker, at)})
	if err != nil || f == nil {
		return nil, err
	}
	return &clocks.Link{A: i, B: k, Alignment: f.Alignment, Mid: f.Mid, MidSigma: f.MidSigma, DriftSigma: f.DriftSigma,
		From: f.From, To: f.To, Strength: f.Strength}, nil
}

// soundLinks measures sounds against each other over the stretch that one clip
// shows, where both were linked to it.
func soundLinks(all []scene.Device, samples [][]float32, clips int, links []clocks.Link, talker int) (out []clocks.Link) {
	done := map[[2]int]bool{}
	for _, x := range links {
		for _, y := range links {
			key := [2]int{x.B, y.B}
			if x.A != y.A || x.B < clips || y.B <= x.B || done[key] {
				continue
			}
			done[key] = true
			from := math.Max(0, x.Sound(x.From))
			first, last := int(from*dsp.ProxyRate), int(math.Min(all[x.B].Length, x.Sound(x.To))*dsp.ProxyRate)
			if last-first < 2*dsp.ProxyRate {
				continue
			}
			cut := float64(first) / dsp.ProxyRate
			part := align.Samples(samples[x.B][first:min(last, len(samples[x.B]))])
			at := float64(len(part)) / dsp.ProxyRate / 2
			f, err := align.Find(part, align.Far{Source: align.Samples(samples[y.B])}, align.Guess{At: at, Sound: scene.Heard(&all[x.B], &all[y.B], talker, cut+at)})
			if err != nil || f == nil || f.Strength < 14 {
				continue
			}
			line := f.Alignment
			line.Offset -= (1 + line.Drift) * cut
			out = append(out, clocks.Link{A: x.B, B: y.B, Alignment: line, Mid: f.Mid + cut, MidSigma: f.MidSigma, DriftSigma: f.DriftSigma,
				From: f.From + cut, To: f.To + cut, Strength: f.Strength})
		}
	}
	return out
}

// heardIn is whether one talker or two are heard in a moment.
func heardIn(moment scene.Moment) string {
	if len(moment.Talkers) > 1 || moment.Kind == scene.Masked || moment.Kind == scene.OffMic {
		return twoTalk
	}
	return oneTalks
}

// countLoop files a loop by who was heard in it.
func (r *dayRig) countLoop(moment scene.Moment, l clocks.Loop) {
	kind := heardIn(moment)
	t := r.loops[kind]
	if t == nil {
		t = &loopTally{}
		r.loops[kind] = t
	}
	t.open = append(t.open, math.Abs(l.Left)*1e3)
	switch {
	case math.Abs(l.Left) <= tenth:
		t.closed++
	case math.Abs(l.Left) <= 3*l.Sigma:
		t.stated++
	}
}

// print prints one table of moments and one of loops.
func (r *dayRig) print(w io.Writer, n int) {
	fmt.Fprintln(w, "| moment | clips | with no sound of their own | found through others | pairs | sure by themselves | sure through others | right but unsure | wrong and sure | wrong and unsure | of these, called out by a loop |")
	fmt.Fprintln(w, strings.Repeat("|---", 11)+"|")
	var names []string
	for name := range r.kinds {
		names = append(names, name)
	}
	sort.Strings(names)
	for _, name := range names {
		t := r.kinds[name]
		fmt.Fprintf(w, "| %s | %d | %d | %d | %d | %d | %d | %d | %d | %d | %d |\n", name, t.clips, t.clipsLost, t.clipsFound, t.pairs, t.alone, t.through, t.unsure, t.wrong, t.wrongPairs, t.called)
	}
	fmt.Fprintln(w)
	fmt.Fprintln(w, "| loops of three, heard in them | loops | open, ms: median | 95 % | worst | within 0.1 ms | of the others, within 3 deviations |")
	fmt.Fprintln(w, strings.Repeat("|---", 7)+"|")
	for _, kind := range []string{oneTalks, twoTalk} {
		if t := r.loops[kind]; t != nil {
			n := len(t.open)
			fmt.Fprintf(w, "| %s | %d | %.4f | %.4f | %.4f | %d | %d of %d |\n", kind, n, dsp.Quantile(t.open, 0.5), dsp.Quantile(t.open, 0.95), dsp.Quantile(t.open, 1),
				t.closed, t.stated, n-t.closed)
		}
	}
	fmt.Fprintf(w, "\n%d days; the links of each moment in which one talks, solved together: squared residuals are %.2f of what the stated deviations say\n", n, r.net.squares/math.Max(1, float64(r.net.freedom)))
	for _, note := range r.notes {
		fmt.Fprintln(w, note)
	}
}

// manyDevices runs what is made of more than one clip and one sound.
func (o *order) manyDevices(ctx context.Context) error {
	parts := map[string]string{}
	for _, part := range []struct {
		name    string
		n       int
		measure func(context.Context, io.Writer, uint64, int) error
	}{{"day", o.days, days}, {"whose", o.whose, whose}} {
		if part.n == 0 {
			continue
		}
		var b strings.Builder
		if err := part.measure(ctx, io.MultiWriter(os.Stdout, &b), o.seed, part.n); err != nil {
			return err
		}
		parts[part.name] = b.String()
	}
	if o.docs == "" {
		return nil
	}
	return writeParts(o.docs, parts)
}
