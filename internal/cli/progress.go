package cli

import (
	"fmt"
	"path/filepath"
	"time"

	"earshot/internal/app"
	"earshot/internal/fault"
)

// How often progress is shown.
const (
	liveEvery  = 150 * time.Millisecond
	plainEvery = 30 * time.Second
	settle     = 2 * time.Second // before this, no guess at the time left
)

// A bar turns progress into the line to show, and decides when one is due.
type bar struct {
	now   func() time.Time
	steps map[string]*pace
	step  string
	shown time.Time
}

// A pace is how fast one step goes.
type pace struct {
	begun       time.Time // when its present count began
	first       float64   // Done at begun
	done, total float64
}

// tell takes one report and returns the line for it and whether it is due.
// Steps may take turns; away from a terminal each is announced once. Width is
// the terminal's, in cells; it only matters when live.
func (b *bar) tell(p app.Progress, live bool, width int) (string, bool) {
	now := b.now()
	if b.steps == nil {
		b.steps = map[string]*pace{}
	}
	at, known := b.steps[p.Step]
	if !known || p.Done < at.done || p.Total != at.total {
		at = &pace{begun: now, first: p.Done}
		b.steps[p.Step] = at
	}
	at.done, at.total = p.Done, p.Total
	due := !known || now.Sub(b.shown) >= plainEvery
	if live {
		due = b.step != p.Step || now.Sub(b.shown) >= liveEvery
	}
	if !due {
		return "", false
	}
	b.step, b.shown = p.Step, now
	return b.line(p, at, now, live, width), true
}

func (b *bar) line(p app.Progress, at *pace, now time.Time, live bool, width int) string {
	far := ""
	if p.Total > 0 {
		far = fmt.Sprintf("  %3.0f %%", 100*min(1, max(0, p.Done/p.Total)))
		if d, ok := at.remaining(now); ok {
			far += "  " + left(d)
		}
	}
	name := ""
	if p.File != "" {
		name = fault.Escape(filepath.Base(p.File))
		if live {
			name = cut(name, max(8, width-1-cells(p.Step)-2-cells(far)))
		}
		name = "  " + name
	}
	if !live && far == "" && name == "" {
		return p.Step + " ..."
	}
	line := p.Step + name + far
	if live {
		line = cut(line, width-1)
	}
	return line
}

// remaining guesses the time left from the pace since the count began.
func (p *pace) remaining(now time.Time) (time.Duration, bool) {
	took, did := now.Sub(p.begun), p.done-p.first
	if took < settle || did <= 0 || p.done > p.total {
		return 0, false
	}
	return time.Duration(float64(took) * (p.total - p.done) / did), true
}
