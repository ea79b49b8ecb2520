package cli

import (
	"fmt"
	"math"

	"earshot/internal/shoot"
)

// textCandidates is how many candidates the text shows; JSON holds them all.
const textCandidates = 3

// errorWords says a take's chance of error in words; nothing of a take that
// states none.
func errorWords(t shoot.Take) string {
	if t.Chance <= 0 {
		return ""
	}
	return "chance of error: " + chanceWords(t.Chance)
}

// chanceWords says a chance as people do: rounded to the unlucky side.
func chanceWords(p float64) string {
	switch {
	case p >= 0.95:
		return "almost certain"
	case p >= 0.1:
		return fmt.Sprintf("about %.0f in 10", math.Ceil(p*10-1e-9))
	case p >= 0.01:
		return fmt.Sprintf("about %.0f in 100", math.Ceil(p*100-1e-9))
	}
	for _, n := range []int{1_000_000, 100_000, 10_000, 1000} {
		if p <= 1/float64(n)*1.000001 {
			return "less than 1 in " + grouped(n)
		}
	}
	return "less than 1 in 100"
}

// grouped writes a number of five digits and more with commas.
func grouped(n int) string {
	if n < 10_000 {
		return fmt.Sprint(n)
	}
	return thousands(n)
}

func thousands(n int) string {
	if n < 1000 {
		return fmt.Sprint(n)
	}
	return fmt.Sprintf("%s,%03d", thousands(n/1000), n%1000)
}

// candidateWords lists what else was considered for a take, one line each.
func candidateWords(t shoot.Take, name func(string) string) []string {
	var lines []string
	for _, c := range t.Candidates[:min(textCandidates, len(t.Candidates))] {
		line := fmt.Sprintf("or %s with %s at %s", name(c.Clip), name(c.Sound), place(c.Offset))
		if len(c.For) > 0 {
			line += "; for it: " + because(c.For)
		}
		if len(c.Against) > 0 {
			line += "; against it: " + because(c.Against)
		}
		lines = append(lines, line)
	}
	return lines
}
