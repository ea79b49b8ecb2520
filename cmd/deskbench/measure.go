package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"earshot/internal/web/webtest"
)

// What is required of the page.
const (
	waveSoon = 500  // ms from opening a take to its wave
	wallSoon = 1000 // ms from asking for the page to the wall
	mostMB   = 200  // of a page
	openings = 5    // of a take; the middle one counts
)

// moved is what a movement in the page answers: what its frames took and its
// long tasks, ms.
type moved struct {
	name       string
	Took, Long []float64
}

// opening is when a take's wave was seen after it was asked for, and what the
// page had asked for and was answered until then, ms.
type opening struct {
	At    float64
	Asked []struct {
		Name     string
		From, To float64
	}
}

type shown struct {
	Work       struct{ Busy bool }
	Takes      []struct{ ID, Verdict string }
	Recordings []struct {
		ID, Name string
		Length   float64 `json:"length_s"`
	}
}

// settle waits until a shoot is measured and shows it in a tab.
func (b *bench) settle(p *webtest.Page, takes int) shown {
	began := time.Now()
	for {
		s := ask[shown](&b.rig, p, `await fetch('/api/state').then((r) => r.json())`)
		if !s.Work.Busy && len(s.Takes) >= takes {
			return s
		}
		if time.Since(began) > time.Hour {
			b.Fatalf("after an hour there are %d takes of %d", len(s.Takes), takes)
		}
		time.Sleep(time.Second)
	}
}

// move lets a page move for a while under a name.
func (b *bench) move(p *webtest.Page, kind, name string, args ...any) moved {
	call := fmt.Sprintf("await bench.%s('%s', %d", kind, name, b.long.Milliseconds())
	for _, a := range args {
		call += fmt.Sprintf(", %v", a)
	}
	m := ask[moved](&b.rig, p, call+")")
	m.name = name
	return m
}

// take measures a take of an hour.
func (b *bench) take(ctx context.Context) error {
	url, _ := b.desk(ctx, "hour", b.made.hour)
	p := b.open(b.browser, url)
	s := b.settle(p, 1)
	id, length := s.Takes[0].ID, 0.0
	for _, r := range s.Recordings {
		if r.ID == id {
			length = r.Length
		}
		ask[int](&b.rig, p, fmt.Sprintf(`await fetch('/api/recordings/%s/peaks?level=4', {cache: 'no-store'}).then((r) => r.status)`, r.ID)) // it is sketched
	}
	b.sheet.head(fmt.Sprintf("A take of %.1f minutes", length/60))
	p.Visit(url)
	time.Sleep(2 * time.Second)
	t, err := begin(p.Ctx)
	if err != nil {
		return err
	}
	rest := []moved{b.move(p, "waits", "rest")}
	var opens []opening
	for k := range openings {
		opens = append(opens, ask[opening](&b.rig, p, fmt.Sprintf(`await bench.opens('%s', 'opening-%d')`, id, k)))
	}
	time.Sleep(2 * time.Second)
	spans := []float64{600, 30, 1}
	var got []moved
	err = b.profiled(p, func() {
		for _, span := range spans {
			rest = append(rest, b.move(p, "computes", fmt.Sprintf("rest-%g", span)))
			for _, kind := range []string{"zooms", "pans"} {
				ask[any](&b.rig, p, fmt.Sprintf(`bench.span(%g, %g)`, length, span))
				time.Sleep(time.Second)
				got = append(got, b.move(p, kind, fmt.Sprintf("%s, %g s on the glass", kind, span)))
			}
		}
	})
	if err := errors.Join(err, t.end(p.Ctx)); err != nil {
		return err
	}
	idle := b.rest(rest)
	b.opened(t, opens)
	for _, m := range got {
		b.moved(t, m, idle)
	}
	b.memory(t, p)
	for _, seconds := range []int{4, 8, 16} {
		c := ask[struct{ First, All float64 }](&b.rig, p, fmt.Sprintf("await bench.piece('%s', 1800, %d)", id, seconds))
		b.sheet.figure(fmt.Sprintf("a piece of sound, %d s", seconds), fmt.Sprintf("first of it after %.0f ms, all after %.0f ms", c.First, c.All), 0, 0, "")
	}
	p.Clean()
	return nil
}

// opened prints how soon a take's wave was seen, at the median of some openings,
// and what was asked for until then the first time.
func (b *bench) opened(t *trace, opens []opening) {
	var seen, drawn, worked []float64
	for k, o := range opens {
		from, to := fmt.Sprintf("begin opening-%d", k), fmt.Sprintf("seen opening-%d", k)
		_, _, all := t.task(from, to)
		seen, drawn, worked = append(seen, o.At), append(drawn, t.shown(from, to)), append(worked, all)
	}
	spread := func(v []float64) string {
		return fmt.Sprintf("%5.0f ms, %.0f to %.0f, at first %.0f", quantile(v, 0.5), slices.Min(v), slices.Max(v), v[0])
	}
	b.sheet.figure("first wave, from opening the take", spread(seen), quantile(seen, 0.5), waveSoon, "ms")
	b.sheet.figure("  drawn, as the browser's trace has it", spread(drawn), quantile(drawn, 0.5), waveSoon, "ms")
	b.sheet.figure("  the processor's work on the page until then", spread(worked), 0, 0, "")
	for _, a := range opens[0].Asked {
		b.sheet.figure("  "+a.Name, fmt.Sprintf("from %.0f to %.0f ms", a.From, a.To), 0, 0, "")
	}
}

// rest prints what the machine gives a page that does nothing, and then one that
// only computes; it answers their longest frame.
func (b *bench) rest(still []moved) (longest float64) {
	for i, m := range still {
		what := "a page that only computes, 6 ms a frame"
		if i == 0 {
			what = "a page at rest"
		}
		longest = max(longest, slices.Max(m.Took))
		b.sheet.figure(what, fmt.Sprintf("%5.1f fps, 95 %% within %.1f ms, longest %.1f ms", 1000/quantile(m.Took, 0.5), quantile(m.Took, 0.95), slices.Max(m.Took)), 0, 0, "")
	}
	return longest
}

// moved prints a movement: as the page saw it, as the trace has it, and the
// longest task by what the processor worked on it, which a busy machine cannot
// draw out.
func (b *bench) moved(t *trace, m moved, idle float64) {
	b.sheet.frames(m.name, m.Took, idle)
	from, to := "begin "+m.name, "end "+m.name
	if drawn := t.drawn(from, to); len(drawn) > 0 {
		fps := 1000 / quantile(drawn, 0.5)
		b.sheet.figure("  drawn, as the browser's trace has it", fmt.Sprintf("%5.1f fps, 95 %% within %.1f ms", fps, quantile(drawn, 0.95)), fps, -leastFPS, "fps")
	}
	work, long, all := t.task(from, to)
	b.sheet.figure("  longest task, by the processor's work", fmt.Sprintf("%5.1f ms, %.1f ms by the clock; all %.0f ms", work, long, all), work, longest, "ms")
	if len(m.Long) > 0 {
		b.sheet.figure("  tasks above 50 ms by the clock", fmt.Sprintf("%d, longest %.0f ms", len(m.Long), slices.Max(m.Long)), 0, 0, "")
	}
}

func (b *bench) memory(t *trace, p *webtest.Page) {
	pid := 0
	for _, e := range t.events {
		if e.Name == "DrawFrame" {
			pid = e.PID
		}
	}
	heap, process := b.rig.memory(p, pid)
	b.sheet.figure("memory: script, with buffers", fmt.Sprintf("%5.0f MB", heap), heap, mostMB, "MB")
	if process > 0 {
		b.sheet.figure("memory: the page's whole process", fmt.Sprintf("%5.0f MB", process), process, mostMB, "MB")
	}
}

// pair pairs by hand clips that were not found, until there are takes enough.
func (b *bench) pair(p *webtest.Page, s shown) {
	ids, taken := map[string]string{}, map[string]bool{}
	for _, r := range s.Recordings {
		ids[r.Name] = r.ID
	}
	for _, t := range s.Takes {
		taken[t.ID] = true
	}
	missing := takes - len(s.Takes)
	for k := range hours {
		for n := 0; n < hour/cut && missing > 0; n++ {
			id := ids[fmt.Sprintf("%s%03d.MOV", clipName(k), n)]
			if id == "" || taken[id] {
				continue
			}
			missing--
			ask[int](&b.rig, p, fmt.Sprintf("await bench.pairs('%s', '%s', %g)", id, ids[soundName(k)], b.made.offsets[k]+float64(n*cut)))
		}
	}
}

// wall measures a wall of a thousand takes.
func (b *bench) wall(ctx context.Context) error {
	url, pid := b.desk(ctx, "wall", b.made.wall)
	p := b.open(b.browser, url)
	s := b.settle(p, 1)
	b.pair(p, s)
	s = b.settle(p, takes)
	b.sheet.head(fmt.Sprintf("A wall of %d takes", len(s.Takes)))
	size := ask[[2]float64](&b.rig, p, `await (async () => { const t = performance.now(), text = await fetch('/api/state').then((r) => r.text()); return [text.length, performance.now() - t] })()`)
	b.sheet.figure("the state", fmt.Sprintf("%5.0f kB in %.0f ms", size[0]/1e3, size[1]), 0, 0, "")
	t, err := begin(p.Ctx)
	if err != nil {
		return err
	}
	p.Visit(url)
	first := ask[struct{ At, N float64 }](&b.rig, p, `await bench.tiles`)
	time.Sleep(3 * time.Second)
	ends := ask[[]float64](&b.rig, p, `performance.getEntriesByType('resource').filter((e) => /mirror|still/.test(e.name)).map((e) => e.responseEnd)`)
	rest := []moved{b.move(p, "waits", "rest"), b.move(p, "computes", "rest-1")}
	used := cpu(pid)
	var got []moved
	err = b.profiled(p, func() {
		for _, by := range []int{12, 60} {
			got = append(got, b.move(p, "scrolls", fmt.Sprintf("scrolls, %d px a frame", by), by))
		}
	})
	used = cpu(pid) - used
	if err := errors.Join(err, t.end(p.Ctx)); err != nil {
		return err
	}
	idle := b.rest(rest)
	b.sheet.figure("first paint of the wall, from asking for the page", fmt.Sprintf("%5.0f ms, %.0f tiles", first.At, first.N), first.At, wallSoon, "ms")
	if len(ends) > 0 {
		b.sheet.figure("  waves and stills of it", fmt.Sprintf("%d, the last at %.0f ms", len(ends), slices.Max(ends)), 0, 0, "")
	}
	for _, m := range got {
		b.moved(t, m, idle)
	}
	said := ask[[]float64](&b.rig, p, fmt.Sprintf("await bench.says('%s')", s.Takes[len(s.Takes)/2].ID))
	b.sheet.figure("saying something of a take", fmt.Sprintf("%5.0f ms, longest %.0f ms", quantile(said, 0.5), slices.Max(said)), 0, 0, "")
	b.sheet.figure("the program's own work meanwhile", fmt.Sprintf("%5.1f s of CPU in %.0f s", used, 2*b.long.Seconds()), 0, 0, "")
	b.memory(t, p)
	p.Clean()
	return nil
}
