package app

import (
	"cmp"
	"context"
	"math"
	"runtime"
	"slices"
	"sync"

	"earshot/internal/dsp"
	"earshot/internal/match"
)

// How many places of a sound are looked at closely, and from which score of
// the sketches on.
const (
	closePlaces = 3
	leastScore  = 4.0 // of the best place
	leastOther  = 5.5 // of the others
	leastClear  = 7.0 // of any place that need not wait in a longer shoot
)

// few is the cost up to which all places that may be something are looked at: some
// three hours, of which that is soon done. affordable is the cost up to which every
// clip of a shoot is searched for in every sound at the whole grain: about a second
// of one core.
const few, affordable = 13_000, 60_000

// A match that stands so high, twice what is asked of a sure one, settles that
// its clip and its sound belong to something.
const settledStrength, settledRest = 28.0, 18.0

func (l *link) settles() bool {
	return l != nil && l.Found.Strength >= settledStrength && l.Found.Rest >= settledRest
}

// A way is a way to look for clips in sounds.
type way struct {
	reach reach
	grain match.Grain
	least float64 // score of a place that is looked at at once
	want  func(clip, sound int) bool
}

// meet holds clips against sounds, as far as they have not met. In a shoot of a
// few hours all places that may be something are looked at. In one of some more
// those that stand out come first, and then the fainter ones of what is not ruled
// out by what was found. In a long one the sketches are held against each other at
// half the grain, and the fainter places are looked at of what is unsettled.
func (m *measurer) meet(ctx context.Context) error {
	switch cost := cmp.Or(m.app.cost, m.cost()); {
	case cost > affordable:
		return m.inTurn(ctx, match.Half, combed, m.unsettled)
	case cost > few:
		return m.inTurn(ctx, match.Whole, searched, m.possible)
	}
	_, err := m.lookFor(ctx, way{searched, match.Whole, leastScore, func(i, k int) bool { return m.held[i][k] < searched }})
	return err
}

// A remainder is what is left to hold against each other once the clear places
// are known, and which of its fainter places are worth a look.
type remainder struct {
	left  func(clip, sound int) bool
	worth func([]job) []job
}

// inTurn looks at the places that stand out, which are nearly all that matter.
// What was found is followed to the other recorders that ran at the same time;
// then the fainter places of the rest are looked at, which makes it held so far.
func (m *measurer) inTurn(ctx context.Context, grain match.Grain, far reach, rest func() remainder) error {
	before := make([][]reach, len(m.held)) // this run
	for i, row := range m.held {
		before[i] = slices.Clone(row)
	}
	faint, err := m.lookFor(ctx, way{glanced, grain, leastClear, func(i, k int) bool { return before[i][k] < glanced }})
	if err != nil {
		return err
	}
	if err := m.follow(ctx); err != nil {
		return err
	}
	r := rest()
	again, err := m.lookFor(ctx, way{glanced, grain, math.Inf(1), func(i, k int) bool { return r.left(i, k) && before[i][k] >= glanced }})
	if err != nil {
		return err
	}
	faint = slices.DeleteFunc(append(faint, again...), func(j job) bool { return !r.left(j.clip, j.sound) })
	if err := m.lineUp(ctx, r.worth(faint)); err != nil {
		return err
	}
	return m.met(far, r.left)
}

// unsettled is what a long shoot leaves: clips that seem to belong nowhere, in all
// sounds, and sounds that seem to hold nothing, for all clips.
func (m *measurer) unsettled() remainder {
	clips, sounds := m.settled()
	return remainder{
		func(i, k int) bool { return m.held[i][k] < combed && !(clips[i] && sounds[k]) },
		func(faint []job) []job {
			return worthIt(slices.DeleteFunc(faint, func(j job) bool {
				return j.candidate.Score < chance(m.sounds[j.sound].tracks[j.soundTrack].Rows)
			}), clips, sounds)
		},
	}
}

// possible is all but clips that lie whole in another sound of the same recorder,
// which hears one moment once.
func (m *measurer) possible() remainder {
	out := make([][]bool, len(m.clips))
	for i := range out {
		out[i] = m.ruledOut(i)
	}
	return remainder{
		func(i, k int) bool { return m.held[i][k] < searched && !out[i][k] },
		func(faint []job) []job { return faint },
	}
}

// ruledOut tells of every sound whether clip i lies whole in another one of the
// same recorder.
func (m *measurer) ruledOut(i int) []bool {
	const end = 1.0 // seconds of the clip that may be missing
	out := make([]bool, len(m.sounds))
	for k, l := range m.links[i] {
		if !l.settles() {
			continue
		}
		length := float64(m.clips[i].tracks[l.ClipTrack].Samples) / dsp.ProxyRate
		if l.Found.From > end || l.Found.To < length-end {
			continue
		}
		for other, s := range m.sounds {
			out[other] = out[other] || other != k && s.device == m.sounds[k].device
		}
	}
	return out
}

// chance is about how high the best place of a sound of so many rows stands by
// chance, standard deviations: what normal values, one for two rows, would reach.
func chance(rows int) float64 { return math.Sqrt(2 * math.Log(float64(max(2, rows/2)))) }

// mostFaint is how many faint places are looked at closely for a clip that
// seems to belong nowhere, and for a sound that seems to hold nothing. Among
// so many hours chance alone makes one in every sound.
const mostFaint = 8

// worthIt leaves out the faintest of the places that are under leastOther.
// clips and sounds tell which are settled.
func worthIt(jobs []job, clips, sounds []bool) []job {
	order := make([]int, 0, len(jobs))
	for n, j := range jobs {
		if j.candidate.Score < leastOther {
			order = append(order, n)
		}
	}
	slices.SortStableFunc(order, func(x, y int) int {
		return cmp.Compare(jobs[y].candidate.Score, jobs[x].candidate.Score)
	})
	ofClip, ofSound := make([]int, len(clips)), make([]int, len(sounds))
	drop := map[int]bool{}
	for _, n := range order {
		j := jobs[n]
		drop[n] = (clips[j.clip] || ofClip[j.clip] >= mostFaint) && (sounds[j.sound] || ofSound[j.sound] >= mostFaint)
		ofClip[j.clip]++
		ofSound[j.sound]++
	}
	var out []job
	for n, j := range jobs {
		if !drop[n] {
			out = append(out, j)
		}
	}
	return out
}

// cost is that of the search of all sounds for all clips at the whole grain.
func (m *measurer) cost() (sum int) {
	for _, c := range m.clips {
		for _, s := range m.sounds {
			for _, ct := range c.tracks {
				for _, st := range s.tracks {
					sum += match.Whole.Cost(ct.Rows, st.Rows)
				}
			}
		}
	}
	return sum
}

// settled tells which clips and which sounds belong to something.
func (m *measurer) settled() (clips, sounds []bool) {
	clips, sounds = make([]bool, len(m.clips)), make([]bool, len(m.sounds))
	for i, row := range m.links {
		for k, l := range row {
			if l.settles() {
				clips[i], sounds[k] = true, true
			}
		}
	}
	return clips, sounds
}

// A job is one place of a sound to look at closely for a clip.
type job struct {
	clip, sound           int
	clipTrack, soundTrack int
	candidate             match.Candidate
}

// mostReady is how many bytes of clips are made ready for search at once.
const mostReady = 64 << 20

// lookFor looks for the clips in the sounds in which they are wanted, batch after
// batch of clips, and closely at what stands out. Both keep all cores busy. It
// returns the places that were left for later.
func (m *measurer) lookFor(ctx context.Context, how way) (later []job, err error) {
	b := &batch{how: how, wanted: make([][]int, len(m.clips))}
	var left []owner
	for i, c := range m.clips {
		for k := range m.sounds {
			if how.want(i, k) {
				b.wanted[i] = append(b.wanted[i], k)
			}
		}
		for t, tr := range c.tracks {
			if len(b.wanted[i]) > 0 && !tr.Silent && tr.Rows > 0 {
				left = append(left, owner{i, t})
			}
		}
	}
	for all := len(left); len(left) > 0; {
		if err := b.makeReady(ctx, m, left); err != nil {
			return nil, err
		}
		left = left[len(b.ready):]
		m.tell.step("pairing", "", float64(all-len(left)-len(b.ready)), float64(all))
		jobs, err := b.search(ctx, m)
		if err != nil {
			return nil, err
		}
		var now []job
		for _, j := range jobs {
			if j.candidate.Score >= how.least {
				now = append(now, j)
			} else {
				later = append(later, j)
			}
		}
		if err := m.lineUp(ctx, now); err != nil {
			return nil, err
		}
		done := b.done(left)
		if err := m.met(how.reach, func(i, k int) bool { return done[i] && slices.Contains(b.wanted[i], k) }); err != nil {
			return nil, err
		}
	}
	return later, m.met(how.reach, func(i, k int) bool { return slices.Contains(b.wanted[i], k) }) // those with nothing to search for, too
}

// met writes down of some clips and sounds how thoroughly they have met.
func (m *measurer) met(far reach, which func(clip, sound int) bool) error {
	touched := map[int]bool{}
	for i, row := range m.held {
		for k := range row {
			if row[k] < far && which(i, k) {
				row[k], touched[k] = far, true
			}
		}
	}
	return m.keepAll(touched)
}

// An owner is the clip and the track of it that something is made of.
type owner struct{ clip, track int }

// A batch is clips' tracks ready for search.
type batch struct {
	how    way
	wanted [][]int // sounds, by clip
	owners []owner
	ready  []*match.Clip
}

// makeReady makes the first of left ready, as many as mostReady bytes hold.
func (b *batch) makeReady(ctx context.Context, m *measurer, left []owner) error {
	b.owners, b.ready = nil, nil
	const atOnce = 16
	for size := 0; size < mostReady && len(b.ready) < len(left); {
		part := left[len(b.ready):]
		part = part[:min(atOnce, len(part))]
		made := make([]*match.Clip, len(part))
		if err := inParallel(ctx, len(part), func(n int) (err error) {
			c := m.clips[part[n].clip]
			return guarded(c.path, func() (err error) {
				made[n], err = m.app.prepared(ctx, side{c, part[n].track}, b.how.grain)
				return err
			})
		}); err != nil {
			return err
		}
		for _, c := range made {
			size += c.Bytes()
		}
		b.ready, b.owners = append(b.ready, made...), append(b.owners, part...)
	}
	return nil
}

// prepared makes a track ready to be looked for.
func (a *App) prepared(ctx context.Context, clip side, g match.Grain) (*match.Clip, error) {
	rows, err := a.openRows(ctx, clip.rec, clip.track, g)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	return match.NewClip(rows, g)
}

// done tells which clips have no track left after the batch.
func (b *batch) done(left []owner) map[int]bool {
	done := map[int]bool{}
	for _, o := range b.owners {
		done[o.clip] = len(left) == 0 || left[0].clip != o.clip
	}
	return done
}

// A task is some members of a batch to look for in one track of a sound.
type task struct {
	sound, track int
	members      []int
}

// longTask is the cost of a task: about a second, after which a run that was
// stopped ends.
const longTask = 60_000

// tasks parts the work, the longest sounds first.
func (b *batch) tasks(m *measurer) []task {
	members := make([][]int, len(m.sounds))
	for n, o := range b.owners {
		for _, k := range b.wanted[o.clip] {
			members[k] = append(members[k], n)
		}
	}
	var out []task
	for k, s := range m.sounds {
		for t, tr := range s.tracks {
			if tr.Silent || tr.Rows == 0 {
				continue
			}
			left := members[k]
			if len(m.sounds) < 2*workers() { // few sounds would leave a core idle
				half := (len(left) + workers() - 1) / workers()
				for ; half > 0 && len(left) > half; left = left[half:] {
					out = b.split(out, m, task{k, t, left[:half]})
				}
			}
			out = b.split(out, m, task{k, t, left})
		}
	}
	slices.SortStableFunc(out, func(x, y task) int {
		return m.sounds[y.sound].tracks[y.track].Rows - m.sounds[x.sound].tracks[x.track].Rows
	})
	return out
}

// split adds a task to out in parts that take about a second each.
func (b *batch) split(out []task, m *measurer, t task) []task {
	from, cost := 0, 0
	for n, i := range t.members {
		o := b.owners[i]
		cost += b.how.grain.Cost(m.clips[o.clip].tracks[o.track].Rows, m.sounds[t.sound].tracks[t.track].Rows)
		if cost >= longTask || n == len(t.members)-1 {
			out = append(out, task{t.sound, t.track, t.members[from : n+1]})
			from, cost = n+1, 0
		}
	}
	return out
}

// search does all tasks of a batch. Jobs come in the order of sounds and clips.
func (b *batch) search(ctx context.Context, m *measurer) ([]job, error) {
	tasks := b.tasks(m)
	found := make([][]job, len(tasks))
	var (
		mu   sync.Mutex
		done int
	)
	err := inParallel(ctx, len(tasks), func(n int) error {
		t := tasks[n]
		return guarded(m.sounds[t.sound].path, func() (err error) {
			found[n], err = b.do(ctx, m, t)
			mu.Lock()
			done++
			m.tell.step("pairing", m.sounds[t.sound].path, float64(done), float64(len(tasks)))
			mu.Unlock()
			return err
		})
	})
	jobs := slices.Concat(found...)
	slices.SortStableFunc(jobs, func(x, y job) int {
		if x.sound != y.sound {
			return x.sound - y.sound
		}
		return x.clip - y.clip
	})
	return jobs, err
}

// do does one task.
func (b *batch) do(ctx context.Context, m *measurer, t task) ([]job, error) {
	rows, err := m.app.openRows(ctx, m.sounds[t.sound], t.track, b.how.grain)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	clips := make([]*match.Clip, len(t.members))
	for n, i := range t.members {
		clips[n] = b.ready[i]
	}
	found, err := match.Search(clips, rows, closePlaces)
	if err != nil {
		return nil, err
	}
	var jobs []job
	for n, list := range found {
		o := b.owners[t.members[n]]
		for rank, c := range list {
			if c.Score >= leastOther || rank == 0 && c.Score >= leastScore {
				jobs = append(jobs, job{o.clip, t.sound, o.track, t.track, c})
			}
		}
	}
	return jobs, nil
}

// workers is how many things are done at once.
func workers() int { return runtime.GOMAXPROCS(0) }

// inParallel calls do for 0 to n-1, in order, several at once. The first error
// ends it, as does ctx.
func inParallel(ctx context.Context, n int, do func(i int) error) error {
	next := make(chan int)
	var (
		group sync.WaitGroup
		mu    sync.Mutex
		first error
	)
	failed := func() bool {
		mu.Lock()
		defer mu.Unlock()
		return first != nil
	}
	for range min(n, workers()) {
		group.Go(func() {
			for i := range next {
				if err := do(i); err != nil {
					mu.Lock()
					if first == nil {
						first = err
					}
					mu.Unlock()
				}
			}
		})
	}
	for i := 0; i < n && ctx.Err() == nil && !failed(); i++ {
		next <- i
	}
	close(next)
	group.Wait()
	if err := ctx.Err(); err != nil {
		return err
	}
	return first
}
