package desk

import (
	"context"
	"reflect"
	"slices"
	"sync"
	"time"

	"earshot/internal/shoot"
)

// A board holds what is shown and which version of the whole each part of it
// belongs to, so that whoever knows an older version can be told the
// difference. Its methods are safe for concurrent use.
type board struct {
	mu      sync.Mutex
	version int64
	floor   int64         // what went before is not known any more
	changed chan struct{} // closed at the next change

	shoot    part[Shoot]
	work     part[Work]
	history  part[History]
	marriage part[Marriage]
	notes    part[[]string]
	recs     shelf[Recording]
	takes    shelf[Take]
}

// A part is something shown, and the version it has been so since.
type part[T any] struct {
	is    T
	since int64
}

// A shelf holds parts by id, in order.
type shelf[T any] struct {
	order []string
	parts map[string]part[T]
	gone  map[string]int64 // ids of what is no more: since when
}

func newBoard() *board {
	b := &board{version: 1, floor: 1, changed: make(chan struct{})}
	b.recs, b.takes = newShelf[Recording](), newShelf[Take]()
	b.notes.is, b.shoot.is.Paths, b.marriage.is.Clips = []string{}, []string{}, []Married{}
	return b
}

func newShelf[T any]() shelf[T] {
	return shelf[T]{parts: map[string]part[T]{}, gone: map[string]int64{}}
}

// put shows v under an id. What is shown so already does not count as changed.
func (s *shelf[T]) put(id string, v T, version int64) {
	was, known := s.parts[id]
	switch {
	case !known:
		s.order = append(s.order, id)
	case reflect.DeepEqual(was.is, v):
		return
	}
	delete(s.gone, id)
	s.parts[id] = part[T]{v, version}
}

func (s *shelf[T]) remove(id string, version int64) {
	if _, known := s.parts[id]; !known {
		return
	}
	delete(s.parts, id)
	s.order = slices.DeleteFunc(s.order, func(o string) bool { return o == id })
	s.gone[id] = version
}

// arrange puts ids first, in their order; the others follow in theirs.
func (s *shelf[T]) arrange(ids []string) {
	first := make(map[string]int, len(ids))
	for i, id := range ids {
		first[id] = i
	}
	place := func(id string) int {
		if i, ok := first[id]; ok {
			return i
		}
		return len(ids)
	}
	slices.SortStableFunc(s.order, func(a, b string) int { return place(a) - place(b) })
}

func (s *shelf[T]) since(v int64) []T {
	out := []T{}
	for _, id := range s.order {
		if p := s.parts[id]; p.since > v {
			out = append(out, p.is)
		}
	}
	return out
}

// change lets fn alter the board under its next version.
func (b *board) change(fn func(version int64)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.version++
	fn(b.version)
	close(b.changed)
	b.changed = make(chan struct{})
}

// state is all that is shown.
func (b *board) state() State {
	b.mu.Lock()
	defer b.mu.Unlock()
	return State{Version: b.version, Shoot: b.shoot.is, Work: b.work.is, Recordings: b.recs.since(-1), Takes: b.takes.since(-1),
		Undo: b.history.is.Undo, Redo: b.history.is.Redo, Marriage: b.marriage.is, Notes: b.notes.is}
}

// shownShoot, shownMarriage return what is shown of the whole, without all its
// recordings and takes.
func (b *board) shownShoot() Shoot {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.shoot.is
}

func (b *board) shownMarriage() Marriage {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.marriage.is
}

// showPaths shows what the person added.
func (b *board) showPaths(paths []string) {
	b.change(func(v int64) { b.shoot.is.Paths, b.shoot.since = append([]string{}, paths...), v })
}

// recording and take return what is shown of one.
func (b *board) recording(id string) (Recording, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	p, ok := b.recs.parts[id]
	return p.is, ok
}

func (b *board) take(id string) (Take, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	p, ok := b.takes.parts[id]
	return p.is, ok
}

// gather is how long changes are gathered for before they are told, so that a
// busy moment makes one patch and not a hundred.
const gather = 40 * time.Millisecond

// changes waits until there is something newer than since, and tells it.
func (b *board) changes(ctx context.Context, since int64) (Patch, error) {
	b.mu.Lock()
	for b.version == since {
		next := b.changed
		b.mu.Unlock()
		select {
		case <-ctx.Done():
			return Patch{}, ctx.Err()
		case <-next:
		}
		select {
		case <-ctx.Done():
			return Patch{}, ctx.Err()
		case <-time.After(gather):
		}
		b.mu.Lock()
	}
	defer b.mu.Unlock()
	return b.patch(since), nil
}

// patch is what changed since a version.
func (b *board) patch(since int64) Patch {
	p := Patch{Version: b.version}
	if since < b.floor || since > b.version {
		p.All, since = true, -1
	}
	p.Recordings, p.Takes = b.recs.since(since), b.takes.since(since)
	p.Shoot, p.Work, p.History = newer(b.shoot, since), newer(b.work, since), newer(b.history, since)
	p.Marriage, p.Notes = newer(b.marriage, since), newer(b.notes, since)
	if !p.All {
		p.Gone = b.goneSince(since, &p)
	}
	return p
}

// goneSince lists the ids of what is no more. A clip and its take share one, so
// a recording whose take alone is gone is told again.
func (b *board) goneSince(since int64, p *Patch) (ids []string) {
	for id, v := range b.recs.gone {
		if v > since {
			ids = append(ids, id)
		}
	}
	for id, v := range b.takes.gone {
		if v <= since || slices.Contains(ids, id) {
			continue
		}
		ids = append(ids, id)
		if rec, still := b.recs.parts[id]; still && rec.since <= since {
			p.Recordings = append(p.Recordings, rec.is)
		}
	}
	slices.Sort(ids)
	return ids
}

func newer[T any](p part[T], since int64) *T {
	if p.since <= since {
		return nil
	}
	is := p.is
	return &is
}

// setHistory shows what can be undone and done again.
func (b *board) setHistory(undo, redo *shoot.Step) {
	b.change(func(v int64) { b.history = part[History]{History{undo, redo}, v} })
}
