package main

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"

	"earshot/internal/dsp"
	"earshot/internal/scene"
	"earshot/internal/shoot"
)

// What a made-up recorder does in this measurement.
const (
	leastLost, mostLost = 0.001, 0.500 // seconds
	ownSound            = 1.0          // seconds of speech that a stretch between two losses, or before or after, holds at least
	bentBy              = 5.0          // ppm that a clock bends by in its hour
	placedWithin        = 0.050        // seconds that a loss may be told off its place
	followedWithin      = 0.0002       // seconds that a bent clock is followed to
)

// A lossResult is what became of one take with losses, without, or with a bend.
type lossResult struct {
	couple scene.Couple
	kind   lossKind
	made   bool // an interrupted run leaves some out
	found  bool
	sure   bool
	right  bool    // as many spans as there are, every loss told in size and place
	spans  int     // told
	off    float64 // seconds: greatest error along the take, outside what is lost and 50 ms about the cuts
	place  float64 // seconds: the worst place told of a loss, pauses taken off
	told   string
}

type lossKind int

const (
	lossy   lossKind = iota // with losses
	clean                   // without
	bending                 // with a bent clock
	walking                 // with a talker who walks to or from the camera
)

// What a talker walks, metres, and how far off a take may be laid before he sets
// out and after he stands again, seconds.
const (
	leastWalk, mostWalk = 2.0, 7.0
	laidWithin          = 0.001
)

// lossTable measures and prints, and writes the table into the docs where asked.
func (o *order) lossTable(ctx context.Context) error {
	r, err := newRig()
	if err != nil {
		return err
	}
	var rows bytes.Buffer
	if err := r.lossRun(ctx, io.MultiWriter(os.Stdout, &rows), o.losses, max(o.losses, o.clean), o.walks, o.seed); err != nil || o.docs == "" {
		return err
	}
	return writeParts(o.docs, map[string]string{"losses": rows.String()})
}

// lossRun makes n takes with losses, so many without, so many with a walk and a few
// with bent clocks, and prints what became of them.
func (r *rig) lossRun(ctx context.Context, w io.Writer, n, without, walks int, seed uint64) error {
	var jobs []lossResult
	for i := range without {
		if i < n {
			jobs = append(jobs, lossResult{kind: lossy, couple: r.lossCouple(seed+uint64(i), lossy)})
		}
		jobs = append(jobs, lossResult{kind: clean, couple: r.lossCouple(seed+uint64(i), clean)})
	}
	for i := range walks {
		jobs = append(jobs, lossResult{kind: walking, couple: r.walkCouple(seed + uint64(i))})
	}
	for i := range (n + 50) / 100 {
		c := plain
		c.Seed, c.Length, c.Bend = seed+uint64(i), 3600, bentBy
		if i%2 == 1 {
			c.Bend = -c.Bend
		}
		jobs = append(jobs, lossResult{kind: bending, couple: c})
	}
	failed := make([]error, len(jobs))
	next := make(chan int)
	var group sync.WaitGroup
	for range runtime.NumCPU() {
		group.Go(func() {
			for i := range next {
				if failed[i] = r.lossOne(ctx, &jobs[i]); ctx.Err() == nil {
					jobs[i].made = true
					jobs[i].tell()
				}
			}
		})
	}
	for i := range jobs {
		if ctx.Err() != nil {
			break
		}
		next <- i
	}
	close(next)
	group.Wait()
	printLosses(w, jobs)
	return errors.Join(append(failed, ctx.Err())...)
}

// lossCouple is a take of 20 s to 5 min in one of all kinds of rooms and noise,
// with one to three losses where it is to have some.
func (r *rig) lossCouple(seed uint64, kind lossKind) scene.Couple {
	rng := rand.New(rand.NewPCG(seed, 77))
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	c := scene.Couple{Seed: seed, Length: 20 * math.Exp(rng.Float64()*math.Log(15)), PPM: between(-80, 80),
		Noise: noises[rng.IntN(len(noises))], SNR: between(5, 25),
		RT60: between(0.2, 2), DRR: between(-10, 10), AGC: rng.IntN(3) == 0}
	if rng.IntN(3) == 0 {
		c.Room = r.rooms[rng.IntN(len(r.rooms))]
	}
	if kind != lossy {
		return c
	}
	s := c.Scene(r.phrases)
	for range 1 + rng.IntN(2)*rng.IntN(3) {
		size := math.Round(dsp.ProxyRate*leastLost*math.Exp(rng.Float64()*math.Log(mostLost/leastLost))) / dsp.ProxyRate
		if rng.IntN(2) == 0 {
			size = -size
		}
		for try := 0; try < 100; try++ {
			more := append(slices.Clone(c.Losses), scene.Loss{At: between(0, c.Length), Seconds: size})
			slices.SortFunc(more, func(a, b scene.Loss) int { return cmp.Compare(a.At, b.At) })
			if heardBetween(s, more, c.Length) {
				c.Losses = more
				break
			}
		}
	}
	return c
}

// walkCouple is a take without losses whose talker walks to or from the camera in
// the middle of it.
func (r *rig) walkCouple(seed uint64) scene.Couple {
	rng := rand.New(rand.NewPCG(seed, 78))
	c := r.lossCouple(seed, clean)
	c.Length = math.Max(c.Length, 30)
	c.Walk = leastWalk + (mostWalk-leastWalk)*rng.Float64()
	if rng.IntN(2) == 0 {
		c.Walk = -c.Walk
	}
	return c
}

// heardBetween tells whether somebody speaks between every two losses and
// before and after them: without that nobody can tell.
func heardBetween(s *scene.Scene, losses []scene.Loss, length float64) bool {
	last := 0.0
	for _, l := range losses {
		if spoken(s, last, l.At-math.Max(0, -l.Seconds)) < ownSound {
			return false
		}
		last = l.At + math.Max(0, l.Seconds)
	}
	return spoken(s, last, length) >= ownSound
}

// spoken is how many seconds of speech a scene's only clip hears between two of
// its times.
func spoken(s *scene.Scene, from, to float64) (sum float64) {
	for _, u := range s.Talk {
		if !u.Clap {
			start := s.Clips[0].Clock.Start
			sum += math.Max(0, math.Min(to, u.End()-start)-math.Max(from, u.At-start))
		}
	}
	return sum
}

// lossOne makes a take, pairs it and holds its spans against the truth.
func (r *rig) lossOne(ctx context.Context, x *lossResult) error {
	s := x.couple.Scene(r.phrases)
	clip := s.Render(&s.Clips[0], dsp.ProxyRate)
	sound := s.Render(&s.Sounds[0], dsp.ProxyRate)
	take, err := pair(ctx, clip, sound, dsp.ProxyRate)
	if err != nil || take == nil {
		return err
	}
	x.found, x.sure, x.spans = true, take.Verdict == shoot.Sure, len(take.Spans)
	x.told = strings.Join(take.Why, "; ")
	d := &held{scene: s, take: take, losses: x.couple.Losses, sound: sound}
	if walk := s.Clips[0].Paths[0].Walk; walk.Further != 0 {
		start := s.Clips[0].Clock.Start
		d.walk = [2]float64{walk.From - start - placedWithin, walk.To - start + placedWithin}
		d.widenWalk()
	}
	x.off = d.off(x.couple.Length)
	x.right, x.place = d.placed()
	switch x.kind {
	case bending:
		x.right = x.off <= followedWithin
	case walking:
		x.right = x.off <= laidWithin
	}
	return nil
}

// held is a take beside its truth.
type held struct {
	scene  *scene.Scene
	take   *shoot.Take
	losses []scene.Loss // in clip time
	walk   [2]float64   // from when to when the talker walks, in clip time, with some room
	sound  []float32
}

// widenWalk takes the pause before or after the walk in where the take is cut in
// it: nobody speaks whom it could be wrong for.
func (h *held) widenWalk() {
	walk := h.walk
	for _, s := range h.take.Spans[:max(0, len(h.take.Spans)-1)] {
		at := s.Clip[1]
		if at < walk[0] && h.talk(at, walk[0]) <= placedWithin {
			h.walk[0] = math.Min(h.walk[0], at-placedWithin)
		}
		if at > walk[1] && h.talk(walk[1], at) <= placedWithin {
			h.walk[1] = math.Max(h.walk[1], at+placedWithin)
		}
	}
}

// off is the greatest error along the take, but for a walk, away from the losses
// and from where they are told: how far these two lie apart is told by itself.
func (h *held) off(length float64) (worst float64) {
	for t := 0.05; t < length; t += 0.1 {
		truth, ok := h.scene.SoundTime(0, 0, t)
		if !ok || h.nearLoss(t) || t > h.walk[0] && t < h.walk[1] {
			continue
		}
		for i, s := range h.take.Spans {
			if t < s.Clip[1] || i == len(h.take.Spans)-1 {
				worst = math.Max(worst, math.Abs(s.Offset+(1+s.Drift*1e-6)*t-truth))
				break
			}
		}
	}
	return worst
}

// nearLoss tells whether a clip time is lost, repeated, or within placedWithin
// of where a loss is or, if all are told, is told.
func (h *held) nearLoss(t float64) bool {
	for i, l := range h.losses {
		from, to := l.At-math.Max(0, -l.Seconds), l.At+math.Max(0, l.Seconds)
		if len(h.take.Spans)-1 == len(h.losses) {
			told := h.take.Spans[i].Clip[1]
			from, to = math.Min(from, told), math.Max(to, told+math.Max(0, l.Seconds))
		}
		if t > from-placedWithin && t < to+placedWithin {
			return true
		}
	}
	return false
}

// placed tells whether the cuts are those that there are, each within
// placedWithin; what lies between in a pause of the talk does not count, nor
// what was repeated: it is there on both sides.
func (h *held) placed() (all bool, worst float64) {
	if len(h.take.Spans)-1 != len(h.losses) {
		return false, 0
	}
	all = true
	for i, l := range h.losses {
		a, b := h.take.Spans[i], h.take.Spans[i+1]
		at := a.Clip[1]
		jump := b.Offset - a.Offset + (b.Drift-a.Drift)*1e-6*at
		from, to := l.At-math.Max(0, -l.Seconds), l.At
		off := math.Max(0, math.Max(from-at, at-to))
		if at < from {
			off = h.talk(at, from)
		} else if at > to {
			off = h.talk(to, at)
		}
		worst = math.Max(worst, off)
		all = all && off <= placedWithin && math.Abs(jump+l.Seconds) < 0.0005
	}
	return all, worst
}

// talk is how many seconds between two clip times somebody is heard talking on
// the body mic, in blocks of 10 ms, so loud that the camera hears it over its
// noise.
func (h *held) talk(from, to float64) (sum float64) {
	const block, quiet = 0.01, 0.005
	least := math.Max(quiet, scene.SpeechLevel*math.Pow(10, -h.scene.Clips[0].SNR/20))
	for t := from; t < to; t += block {
		at, ok := h.scene.SoundTime(0, 0, t)
		i := int(at * dsp.ProxyRate)
		n := int(block * dsp.ProxyRate)
		if ok && i >= 0 && i+n <= len(h.sound) && dsp.RMS(h.sound[i:i+n]) > least {
			sum += math.Min(block, to-t)
		}
	}
	return sum
}

// A lossRow is one kind of take in the table.
type lossRow struct {
	kind lossKind
	name string
}

var lossRows = []lossRow{
	{lossy, "1 to 3 losses of 1 to 500 ms"},
	{clean, "no loss"},
	{bending, "an hour, the clock bent by 5 ppm"},
	{walking, "the talker walks 2 to 7 m"},
}

// printLosses prints one row for each kind. A take is right when every loss is
// told in its size, within half a millisecond, and its place; when none is told
// where none is; when a bent clock is followed; when a take with a walk is laid
// right before and after it. Wrong and sure is what is sure and not right.
func printLosses(w io.Writer, all []lossResult) {
	fmt.Fprintln(w, "| takes | sure | right | wrong and sure | in more than one span | losses off their place, ms: 95 % | worst | greatest error along a right take, ms: median | 95 % | worst |")
	fmt.Fprintln(w, "|---|---|---|---|---|---|---|---|---|---|")
	for _, row := range lossRows {
		var off, place []float64
		n, sure, wrong, several := 0, 0, 0, 0
		for _, x := range all {
			if x.kind != row.kind || !x.made {
				continue
			}
			n++
			if x.sure {
				sure++
			}
			if x.sure && !x.right {
				wrong++
			}
			if x.spans > 1 {
				several++
			}
			if x.right {
				off, place = append(off, x.off*1e3), append(place, x.place*1e3)
			}
		}
		if n == 0 {
			continue
		}
		right := len(off)
		if right == 0 {
			off, place = []float64{math.NaN()}, []float64{math.NaN()}
		}
		fmt.Fprintf(w, "| %d, %s | %d | %d | %d | %d | %.0f | %.0f | %.4f | %.4f | %.4f |\n", n, row.name, sure, right, wrong, several,
			dsp.Quantile(place, 0.95), dsp.Quantile(place, 1), dsp.Quantile(off, 0.5), dsp.Quantile(off, 0.95), dsp.Quantile(off, 1))
	}
}

// tell says at once what became of a take that did not come out right, or is
// laid worse than it need be.
func (x *lossResult) tell() {
	if c := x.couple; !x.right || !x.sure || x.off > laidWithin/2 {
		fmt.Fprintf(os.Stderr, "seed %d: %.0f s, %v at %.0f dB, RT60 %.1f s, DRR %.0f dB, measured room %v, losses %.3f: found %v, sure %v, %d spans, off %.3f ms, place %.0f ms; %s\n",
			c.Seed, c.Length, c.Noise, c.SNR, c.RT60, c.DRR, c.Room != nil, c.Losses, x.found, x.sure, x.spans, x.off*1e3, x.place*1e3, x.told)
	}
}
