package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"

	"earshot/internal/dsp"
)

// A row is a cell with its outcomes.
type row struct {
	cell    cell
	results []result
}

// A table is all that was measured.
type table struct {
	rows []*row
	ours bool // without the plainer ways beside
	off  int  // rows in which a sigma does not cover
	more int  // of these, rows in which it is by more than chance
}

func (t *table) head(w io.Writer) {
	names := []string{"cell", "sure", "wrong", "error in the middle, ms: median", "95 %", "at the ends: worst", "drift, ppm: 95 %",
		"offset at 0 within 1σ", "2σ", "drift within 1σ", "2σ"}
	if t.ours {
		names = append(names, "sigmas that do not cover")
	} else {
		for _, y := range yardsticks {
			names = append(names, y.name)
		}
		names = append(names, byHand)
	}
	fmt.Fprintln(w, "| "+strings.Join(names, " | ")+" |")
	fmt.Fprintln(w, strings.Repeat("|---", len(names))+"|")
}

// add prints a row: counts over all couples, errors of those that are sure, and
// the yardsticks' median errors over all couples.
func (t *table) add(w io.Writer, r *row) {
	t.rows = append(t.rows, r)
	var middle, drift, place, clock []float64
	worst := 0.0
	for _, x := range r.results {
		if !x.sure {
			continue
		}
		middle, drift = append(middle, math.Abs(x.middle)), append(drift, math.Abs(x.drift))
		place, clock = append(place, x.sigmas), append(clock, x.driftSigmas)
		worst = math.Max(worst, x.worst)
	}
	fields := []string{r.cell.name, fmt.Sprintf("%d of %d", r.sure(), len(r.results)), fmt.Sprint(r.wrong(false)),
		fmt.Sprintf("%.4f", dsp.Quantile(middle, 0.5)), fmt.Sprintf("%.4f", dsp.Quantile(middle, 0.95)), fmt.Sprintf("%.4f", worst),
		fmt.Sprintf("%.3f", dsp.Quantile(drift, 0.95)), within(place, 1), within(place, 2), within(clock, 1), within(clock, 2)}
	if t.ours {
		off := uncovered(place, clock, 0)
		if off != "" {
			t.off++
		}
		if uncovered(place, clock, 2) != "" {
			t.more++
		}
		fmt.Fprintln(w, "| "+strings.Join(append(fields, off), " | ")+" |")
		return
	}
	for i := range len(yardsticks) + 1 {
		var off []float64
		for _, x := range r.results {
			off = append(off, math.Abs(x.others[i]))
		}
		fields = append(fields, fmt.Sprintf("%.3g", dsp.Quantile(off, 0.5)))
	}
	fmt.Fprintln(w, "| "+strings.Join(fields, " | ")+" |")
}

// within is the share of values that are at most so large, in words.
func within(v []float64, most float64) string { return fmt.Sprintf("%.0f %%", 100*share(v, most)) }

// share is that of values that are at most so large.
func share(v []float64, most float64) float64 {
	n := 0
	for _, x := range v {
		if x <= most {
			n++
		}
	}
	return float64(n) / float64(max(1, len(v)))
}

// uncovered names the sigmas that do not cover 68 ± 6 % of errors, given as
// multiples of them, once and 95 ± 3 % twice, by more than so many deviations of
// a share that is just covered, of as many errors (binomial).
func uncovered(offsets, drifts []float64, chance float64) string {
	outside := func(v []float64, sigmas, middle, within float64) bool {
		const close = 1e-9
		seen := share(v, sigmas)
		edge := middle + math.Copysign(within, seen-middle)
		return math.Abs(seen-middle) > within+close+chance*math.Sqrt(edge*(1-edge)/float64(max(1, len(v))))
	}
	var off []string
	for _, x := range []struct {
		name string
		of   []float64
	}{{"offset", offsets}, {"drift", drifts}} {
		if outside(x.of, 1, 0.68, 0.06) || outside(x.of, 2, 0.95, 0.03) {
			off = append(off, x.name)
		}
	}
	return strings.Join(off, ", ")
}

// sure counts the couples that are sure and right.
func (r *row) sure() (n int) {
	for _, x := range r.results {
		if x.sure && x.right {
			n++
		}
	}
	return n
}

// wrong counts the couples that are laid wrong, those that are sure of it or
// all.
func (r *row) wrong(sure bool) (n int) {
	for _, x := range r.results {
		if x.found && !x.right && (x.sure || !sure) {
			n++
		}
	}
	return n
}

// sum prints what concerns all cells.
func (t *table) sum(w io.Writer) {
	couples, wrong := 0, 0
	for _, r := range t.rows {
		couples, wrong = couples+len(r.results), wrong+r.wrong(true)
	}
	fmt.Fprintf(w, "\n%d couples in %d cells; wrong and sure: %d\n", couples, len(t.rows), wrong)
	if t.ours {
		fmt.Fprintf(w, "\nA sigma does not cover 68 ± 6 %% once or 95 ± 3 %% twice in %d of %d cells, in %d of them by more than chance gives (two deviations).\n", t.off, len(t.rows), t.more)
	}
}

// worseThanKnown tells of every cell that lays a couple wrong and is sure of
// it, or is sure of fewer than it is known to be.
func (t *table) worseThanKnown() error {
	var all []error
	for _, r := range t.rows {
		if n := r.wrong(true); n > 0 {
			all = append(all, fmt.Errorf("%s: %d laid wrong and sure", r.cell.name, n))
		}
		if least := r.cell.least * float64(len(r.results)); float64(r.sure()) < least {
			all = append(all, fmt.Errorf("%s: %d of %d sure, at least %.0f are known to be", r.cell.name, r.sure(), len(r.results), math.Ceil(least)))
		}
	}
	return errors.Join(all...)
}

// tell says on stderr what became of each couple that was not found sure and
// right; seed is the first one's.
func (r *row) tell(seed uint64) {
	for i, x := range r.results {
		switch {
		case !x.found:
			fmt.Fprintf(os.Stderr, "  seed %d: not found\n", seed+uint64(i))
		case !x.sure || !x.right:
			fmt.Fprintf(os.Stderr, "  seed %d: sure %v, %.3f ms off in the middle, %.3f at worst: %s\n", seed+uint64(i), x.sure, x.middle, x.worst, strings.Join(x.why, "; "))
		}
	}
}
