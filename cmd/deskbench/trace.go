package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"sync"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/tracing"
	"github.com/chromedp/chromedp"
)

// A trace is what a browser itself wrote down while something went on: when
// frames were drawn, and the page's marks between them.
type trace struct {
	mu     sync.Mutex
	events []event
	done   chan struct{}
	once   sync.Once
}

// An event of a trace; times are microseconds.
type event struct {
	Name string  `json:"name"`
	Cat  string  `json:"cat"`
	PID  int     `json:"pid"`
	TID  int     `json:"tid"`
	At   float64 `json:"ts"`
	Long float64 `json:"dur"`
	Work float64 `json:"tdur"` // of Long, what the processor worked on it
}

// begin lets the browser write a trace of a tab.
func begin(ctx context.Context) (*trace, error) {
	t := &trace{done: make(chan struct{})}
	ready := make(chan struct{}, 2)
	go func() {
		ready <- struct{}{}
		for got, err := range chromedp.Events(ctx, tracing.DataCollected) {
			if err != nil {
				return
			}
			t.keep(got)
		}
	}()
	go func() {
		ready <- struct{}{}
		for range chromedp.Events(ctx, tracing.TracingComplete) {
			t.once.Do(func() { close(t.done) })
			return
		}
	}()
	<-ready
	<-ready
	time.Sleep(100 * time.Millisecond) // both listen
	_, err := chromedp.Call(ctx, tracing.Start, tracing.StartParams{TraceConfig: &tracing.TraceConfig{
		IncludedCategories: []string{"devtools.timeline.frame", "disabled-by-default-devtools.timeline", "disabled-by-default-devtools.timeline.frame", "blink.user_timing"}, ExcludedCategories: []string{"*"}}})
	return t, err
}

func (t *trace) keep(got tracing.EventDataCollected) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, raw := range got.Value {
		var e event
		if json.Unmarshal(raw, &e) == nil {
			t.events = append(t.events, e)
		}
	}
}

// end stops the writing and waits for all of it.
func (t *trace) end(ctx context.Context) error {
	if _, err := chromedp.Call(ctx, tracing.End, cdp.Empty{}); err != nil {
		return err
	}
	select {
	case <-t.done:
	case <-time.After(time.Minute):
		return fmt.Errorf("the browser did not give its trace")
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	slices.SortStableFunc(t.events, func(a, b event) int { return int(max(-1, min(1, a.At-b.At))) })
	return nil
}

// mark finds a mark of the page.
func (t *trace) mark(name string) (event, bool) {
	i := slices.IndexFunc(t.events, func(e event) bool { return e.Name == name })
	if i < 0 {
		return event{}, false
	}
	return t.events[i], true
}

// drawn is what lay between the frames drawn from one mark to another, ms.
func (t *trace) drawn(from, to string) (took []float64) {
	a, ok1 := t.mark(from)
	b, ok2 := t.mark(to)
	if !ok1 || !ok2 {
		return nil
	}
	last := a.At
	for _, e := range t.events {
		if e.Name == "DrawFrame" && e.PID == a.PID && e.At > a.At && e.At < b.At {
			took = append(took, (e.At-last)/1000)
			last = e.At
		}
	}
	return took
}

// task is the page's most laborious task from one mark to another: what the
// processor worked on it, and how long it went on; all is the work on every
// task. In ms.
func (t *trace) task(from, to string) (work, long, all float64) {
	a, ok1 := t.mark(from)
	b, ok2 := t.mark(to)
	if !ok1 || !ok2 {
		return math.Inf(1), math.Inf(1), math.Inf(1)
	}
	for _, e := range t.events {
		if e.Name != "RunTask" || e.PID != a.PID || e.TID != a.TID || e.At < a.At || e.At > b.At {
			continue
		}
		all += e.Work / 1000
		if e.Work > work*1000 {
			work, long = e.Work/1000, e.Long/1000
		}
	}
	return work, long, all
}

// shown is how long after one mark the first frame was drawn after another, ms;
// without end where there was none.
func (t *trace) shown(from, seen string) float64 {
	a, ok1 := t.mark(from)
	b, ok2 := t.mark(seen)
	if !ok1 || !ok2 {
		return math.Inf(1)
	}
	for _, e := range t.events {
		if e.Name == "DrawFrame" && e.PID == a.PID && e.At > b.At {
			return (e.At - a.At) / 1000
		}
	}
	return math.Inf(1)
}
