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
	step  string
	begun time.Time // when the step, or its present count, began
	first float64   // Done at begun
	done  float64
	total float64
	shown time.Time
}

// tell takes one report and returns the line for it and whether it is due.
// Width is the terminal's, in cells; it only matters when live.
func (b *bar) tell(p app.Progress, live bool, width int) (string, bool) {
	now := b.now()
	fresh := p.Step != b.step
	if fresh || p.Done < b.done || p.Total != b.total {
		b.begun, b.first = now, p.Done
	}
	b.step, b.done, b.total = p.Step, p.Done, p.Total
	every := plainEvery
	if live {
		every = liveEvery
	}
	if !fresh && now.Sub(b.shown) < every {
		return "", false
	}
	b.shown = now
	return b.line(p, now, live, width), true
}

func (b *bar) line(p app.Progress, now time.Time, live bool, width int) string {
	far := ""
	if p.Total > 0 {
		far = fmt.Sprintf("  %3.0f %%", 100*min(1, max(0, p.Done/p.Total)))
		if d, ok := b.remaining(now); ok {
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
func (b *bar) remaining(now time.Time) (time.Duration, bool) {
	took, did := now.Sub(b.begun), b.done-b.first
	if took < settle || did <= 0 || b.done > b.total {
		return 0, false
	}
	return time.Duration(float64(took) * (b.total - b.done) / did), true
}
