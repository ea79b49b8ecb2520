package main

import (
	"fmt"
	"io"
	"math"
	"sort"
	"strings"

	"earshot/internal/align"
	"earshot/internal/scene"
	"earshot/internal/shoot"
)

// longPair is the length in common, in seconds, from which a right pair counts
// as one that should be found.
const longPair = 20.0

// A kindCount is what became of the meetings of one kind.
type kindCount struct {
	strangers               int // meetings of different moments
	wrongSure, wrongUnsure  int
	byItself                int // different moments that would be sure if there were no other recordings
	mislaid                 int // right pairs laid wrong and sure
	right, rightFound, sure int // right pairs of longPair and more
}

func (c *kindCount) add(m meeting) {
	sure := m.Verdict == shoot.Sure
	switch {
	case !m.right && sure:
		c.wrongSure++
	case !m.right && m.take != nil:
		c.wrongUnsure++
	case m.right && m.take != nil && sure && !m.placed:
		c.mislaid++
	}
	if !m.right {
		if m.ByItself == shoot.Sure {
			c.byItself++
		}
		c.strangers++
		return
	}
	if m.covered < longPair {
		return
	}
	c.right++
	if m.placed {
		c.rightFound++
		if sure {
			c.sure++
		}
	}
}

// bound is the upper end, one-sided at 95 %, of a rate of which k were seen in
// n: exact where none was (1-0.05^(1/n), about 3/n), Wilson's (1927) else.
func bound(k, n int) float64 {
	if n == 0 {
		return 1
	}
	if k == 0 {
		return 1 - math.Pow(0.05, 1/float64(n))
	}
	_, high := wilson(k, n, 1.645)
	return high
}

// interval is the two-sided 95 % interval of a rate of which k were seen in n
// (Wilson 1927).
func interval(k, n int) (low, high float64) { return wilson(k, n, 1.96) }

func wilson(k, n int, z float64) (low, high float64) {
	p, m := float64(k)/float64(n), float64(n)
	if k == 0 {
		return 0, z * z / (m + z*z)
	}
	mid, half := p+z*z/(2*m), z*math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	return math.Max(0, (mid-half)/(1+z*z/m)), math.Min(1, (mid+half)/(1+z*z/m))
}

// wrongTable prints a line for each kind and one for all.
func wrongTable(w io.Writer, all []meeting, kinds []scene.Likeness) {
	names := []string{"kind", "meetings of different moments", "wrong sure", "at most, 95 %", "wrong unsure", "sure if they were all there is", "right pairs of 20 s and more", "found", "sure", "mislaid and sure"}
	fmt.Fprintln(w, "| "+strings.Join(names, " | ")+" |")
	fmt.Fprintln(w, strings.Repeat("|---", len(names))+"|")
	var total kindCount
	line := func(name string, c kindCount) {
		fmt.Fprintf(w, "| %s | %d | %d | %s | %d | %d | %d | %s | %s | %d |\n", name, c.strangers, c.wrongSure, oneIn(bound(c.wrongSure, c.strangers)),
			c.wrongUnsure, c.byItself, c.right, percent(c.rightFound, c.right), percent(c.sure, c.right), c.mislaid)
	}
	for _, k := range kinds {
		var c kindCount
		for _, m := range all {
			if m.kind == k {
				c.add(m)
				total.add(m)
			}
		}
		line(k.String(), c)
	}
	line("all", total)
}

// oneIn says a small rate in words.
func oneIn(rate float64) string {
	if rate <= 0 {
		return "0"
	}
	return fmt.Sprintf("1 in %.0f", 1/rate)
}

func percent(k, n int) string {
	if n == 0 {
		return "-"
	}
	return fmt.Sprintf("%.0f %%", 100*float64(k)/float64(n))
}

// closest lists the strongest of the meetings of different moments.
func closest(w io.Writer, all []meeting, n int) {
	var wrong []meeting
	for _, m := range all {
		if !m.right && m.Strength > 0 {
			wrong = append(wrong, m)
		}
	}
	sort.SliceStable(wrong, func(i, j int) bool { return near(wrong[i]) > near(wrong[j]) })
	fmt.Fprintf(w, "| the closest calls | strength | rest | lead of the loudest | beyond it | verdict | by itself | why |\n|---|---|---|---|---|---|---|---|\n")
	for _, m := range wrong[:min(n, len(wrong))] {
		lead, beyond := "-", "-"
		if m.Voice != nil {
			lead, beyond = fmt.Sprintf("%.2f", m.Voice.Leads()), fmt.Sprintf("%.1f", m.Voice.Beyond())
		}
		fmt.Fprintf(w, "| %s, seed %d: %s with %s | %.1f | %.1f | %s | %s | %s | %s | %s |\n", m.kind, m.seed, m.Clip, m.Sound, m.Strength, m.Rest,
			lead, beyond, m.Verdict, m.ByItself, strings.Join(m.Why, "; "))
	}
}

// near tells how near a meeting came to being taken for a match.
func near(m meeting) float64 {
	v := math.Min(m.Strength, m.Rest*1.5)
	for _, verdict := range []shoot.Verdict{m.Verdict, m.ByItself} {
		switch verdict {
		case shoot.Sure:
			v += 2000
		case shoot.Unsure:
			v += 500
		}
	}
	return v
}

// listing prints every meeting that matched at all as a line of figures.
func listing(w io.Writer, all []meeting) {
	fmt.Fprintln(w, "kind\tseed\tclip\tsound\tright\tplaced\tcovered\tverdict\tbyitself\tstrength\trest\tcoherence\teven\tlead\tbeyond\tsteady\tchance\twhy")
	for _, m := range all {
		if m.Strength == 0 {
			continue
		}
		voice := m.Voice
		if voice == nil {
			voice = &align.Voice{}
		}
		fmt.Fprintf(w, "%d\t%d\t%s\t%s\t%t\t%t\t%.1f\t%s\t%s\t%.2f\t%.2f\t%.4f\t%.2f\t%.2f\t%.1f\t%.3f\t%.3g\t%s\n", m.kind, m.seed, m.Clip, m.Sound, m.right, m.placed, m.covered,
			m.Verdict, m.ByItself, m.Strength, m.Rest, voice.Coherence, voice.Even, voice.Leads(), voice.Beyond(), voice.Steady, m.Chance, strings.Join(m.Why, "; "))
	}
}
