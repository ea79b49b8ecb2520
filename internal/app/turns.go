package app

import (
	"context"
	"sync"
)

// Turns lets those who would make the same thing go one after the other, so that
// it is made once. Its zero value is ready.
type turns struct {
	mu   sync.Mutex
	busy map[string]chan struct{} // by name; closed when the turn is over
}

// take calls fn when nobody else is at what bears the name.
func (t *turns) take(ctx context.Context, name string, fn func() error) error {
	over := make(chan struct{})
	for {
		t.mu.Lock()
		before, taken := t.busy[name]
		if !taken {
			break
		}
		t.mu.Unlock()
		select {
		case <-before:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	if t.busy == nil {
		t.busy = map[string]chan struct{}{}
	}
	t.busy[name] = over
	t.mu.Unlock()
	defer func() {
		t.mu.Lock()
		delete(t.busy, name)
		t.mu.Unlock()
		close(over)
	}()
	return fn()
}
