package app

import (
	"cmp"
	"context"
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
	leastGlance = 7.0 // of any place that a glance found
)

// affordable is the match.Cost up to which every clip of a shoot is searched
// for in every sound. Past it a glance goes first.
const affordable = 40_000

// A match that stands so high, twice what is asked of a sure one, settles that
// its clip and its sound belong to something.
const settledStrength, settledRest = 28.0, 18.0

func (l *link) settles() bool {
	return l != nil && l.Found.Strength >= settledStrength && l.Found.Rest >= settledRest
}

// A way is a way to look for clips in a sound.
type way[T any] struct {
	reach   reach
	prepare func(dsp.Sketch) (T, error)
	bytes   func(T) int // of memory
	search  func([]T, dsp.Sketch, int) ([][]match.Candidate, error)
	cost    int // match.Cost of what this way does in the time of one
	least   func(rank int) float64
	worth   func([]job) []job // which places to look at closely; nil = all
}

var thorough = way[*match.Clip]{reach: searched, prepare: atGrain(match.Whole), bytes: (*match.Clip).Bytes, search: match.Search, cost: 1,
	least: func(rank int) float64 {
		if rank == 0 {
			return leastScore
		}
		return leastOther
	}}

// rest is thorough at a fifth of the cost, for what a glance left.
var rest = func() way[*match.Clip] {
	w := thorough
	w.reach, w.prepare, w.cost = combed, atGrain(match.Half), 5
	return w
}()

func atGrain(g match.Grain) func(dsp.Sketch) (*match.Clip, error) {
	return func(s dsp.Sketch) (*match.Clip, error) { return match.NewClip(s, g) }
}

var quick = way[*match.Glance]{reach: glanced, prepare: match.NewGlance, bytes: (*match.Glance).Bytes, search: match.Look, cost: 45,
	least: func(int) float64 { return leastGlance }}

// meet holds clips against sounds, as far as they have not met. In a shoot of a
// few hours that is the full search of all for all. In a longer one a glance
// comes first, which finds nearly everything. What was found is followed to the
// other recorders that ran at the same time; then what is left is searched for
// at half the grain: clips that seem to belong nowhere, in all sounds, and for
// sounds that seem to hold nothing, all clips.
func (m *measurer) meet(ctx context.Context) error {
	if m.cost() <= affordable && !m.app.long {
		return lookFor(ctx, m, thorough, func(i, k int) bool { return m.held[i][k] < searched })
	}
	err := lookFor(ctx, m, quick, func(i, k int) bool { return m.held[i][k] < glanced })
	if err != nil {
		return err
	}
	if err := m.follow(ctx); err != nil {
		return err
	}
	clips, sounds := m.settled()
	rest := rest
	rest.worth = func(jobs []job) []job { return worthIt(jobs, clips, sounds) }
	return lookFor(ctx, m, rest, func(i, k int) bool {
		return m.held[i][k] < combed && !(clips[i] && sounds[k])
	})
}

// mostFaint is how many faint places are looked at closely for a clip that
// seems to belong nowhere, and for a sound that seems to hold nothing. Among
// so many hours chance alone makes one in every sound.
const mostFaint = 16

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

// cost is the match.Cost of the full search of all sounds for all clips.
func (m *measurer) cost() (sum int) {
	for _, c := range m.clips {
		for _, s := range m.sounds {
			for _, ct := range c.tracks {
				for _, st := range s.tracks {
					sum += match.Cost(ct.Rows, st.Rows)
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
const mostReady = 48 << 20

// lookFor looks for the clips in the sounds in which they are wanted, batch after
// batch of clips, and at what it finds closely. Both keep all cores busy.
func lookFor[T any](ctx context.Context, m *measurer, how way[T], want func(i, k int) bool) error {
	wanted := make([][]int, len(m.clips)) // sounds, by clip
	var left []owner
	for i, c := range m.clips {
		for k := range m.sounds {
			if want(i, k) {
				wanted[i] = append(wanted[i], k)
			}
		}
		for t, tr := range c.tracks {
			if len(wanted[i]) > 0 && !tr.Silent && tr.Rows > 0 {
				left = append(left, owner{i, t})
			}
		}
	}
	for all := len(left); len(left) > 0; {
		b, err := makeReady(ctx, m, how, left)
		if err != nil {
			return err
		}
		left = left[len(b.ready):]
		b.wanted = wanted
		m.tell.step("pairing", "", float64(all-len(left)-len(b.ready)), float64(all))
		jobs, err := b.search(ctx, m)
		if err != nil {
			return err
		}
		if how.worth != nil {
			jobs = how.worth(jobs)
		}
		if err := m.lineUp(ctx, jobs); err != nil {
			return err
		}
		if err := m.met(how.reach, b.owners, wanted, left); err != nil {
			return err
		}
	}
	return m.met(how.reach, nil, wanted, nil)
}

// met writes down how far the clips that own tracks of a batch have come, but
// for one with tracks left. Where there is no batch it is all clips: those
// with nothing to search for are done, too.
func (m *measurer) met(far reach, owners []owner, wanted [][]int, left []owner) error {
	touched := map[int]bool{}
	mark := func(i int) {
		for _, k := range wanted[i] {
			if m.held[i][k] < far {
				m.held[i][k], touched[k] = far, true
			}
		}
	}
	for _, o := range owners {
		if len(left) == 0 || left[0].clip != o.clip {
			mark(o.clip)
		}
	}
	if owners == nil {
		for i := range wanted {
			mark(i)
		}
	}
	return m.keepAll(touched)
}

// An owner is the clip and the track of it that something is made of.
type owner struct{ clip, track int }

// A batch is clips' tracks ready for search.
type batch[T any] struct {
	how    way[T]
	owners []owner
	ready  []T
	wanted [][]int // sounds, by clip
}

// makeReady makes the first of left ready, as many as mostReady bytes hold.
func makeReady[T any](ctx context.Context, m *measurer, how way[T], left []owner) (*batch[T], error) {
	b := &batch[T]{how: how}
	const atOnce = 16
	for size := 0; size < mostReady && len(b.ready) < len(left); {
		part := left[len(b.ready):]
		part = part[:min(atOnce, len(part))]
		made := make([]T, len(part))
		if err := inParallel(ctx, len(part), func(n int) (err error) {
			c := m.clips[part[n].clip]
			return guarded(c.path, func() (err error) {
				made[n], err = prepared(ctx, m.app, c, part[n].track, how.prepare)
				return err
			})
		}); err != nil {
			return nil, err
		}
		for _, c := range made {
			size += how.bytes(c)
		}
		b.ready, b.owners = append(b.ready, made...), append(b.owners, part...)
	}
	return b, nil
}

// prepared makes a track's sketch ready to be looked for.
func prepared[T any](ctx context.Context, a *App, r *recording, track int, make func(dsp.Sketch) (T, error)) (T, error) {
	sketch, err := a.openSketch(ctx, r, track)
	if err != nil {
		var none T
		return none, err
	}
	defer sketch.Close()
	return make(sketch)
}

// A task is some members of a batch to look for in one track of a sound.
type task struct {
	sound, track int
	members      []int
}

// longTask is the match.Cost of a task: about a second, after which a run that
// was stopped ends.
const longTask = 6000

// tasks parts the work, the longest sounds first.
func (b *batch[T]) tasks(m *measurer) []task {
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
func (b *batch[T]) split(out []task, m *measurer, t task) []task {
	from, cost := 0, 0
	for n, i := range t.members {
		o := b.owners[i]
		cost += match.Cost(m.clips[o.clip].tracks[o.track].Rows, m.sounds[t.sound].tracks[t.track].Rows)
		if cost >= longTask*b.how.cost || n == len(t.members)-1 {
			out = append(out, task{t.sound, t.track, t.members[from : n+1]})
			from, cost = n+1, 0
		}
	}
	return out
}

// search does all tasks of a batch. Jobs come in the order of sounds and clips.
func (b *batch[T]) search(ctx context.Context, m *measurer) ([]job, error) {
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
func (b *batch[T]) do(ctx context.Context, m *measurer, t task) ([]job, error) {
	sketch, err := m.app.openSketch(ctx, m.sounds[t.sound], t.track)
	if err != nil {
		return nil, err
	}
	defer sketch.Close()
	clips := make([]T, len(t.members))
	for n, i := range t.members {
		clips[n] = b.ready[i]
	}
	found, err := b.how.search(clips, sketch, closePlaces)
	if err != nil {
		return nil, err
	}
	var jobs []job
	for n, list := range found {
		o := b.owners[t.members[n]]
		for rank, c := range list {
			if c.Score >= b.how.least(rank) {
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
