package main

import (
	"fmt"
	"slices"
	"strings"
)

// A sheet prints findings, one a line, and counts what is not met.
type sheet struct {
	checked, missed int
}

func (s *sheet) head(text string) { fmt.Printf("\n%s\n", text) }

// ratio prints the median over the rounds of what one work took in parts of
// another. most 0 asks for nothing.
func (s *sheet) ratio(engine, what string, over, under []cost, most float64) {
	wall, cpu := make([]float64, len(over)), make([]float64, len(over))
	for i := range over {
		wall[i], cpu[i] = over[i].wall/under[i].wall, over[i].cpu/max(under[i].cpu, 1e-3)
	}
	spread := fmt.Sprintf("%.2f to %.2f", slices.Min(wall), slices.Max(wall))
	s.line(engine, what, fmt.Sprintf("%7.3f  %-14s cpu %6.2f", median(wall), spread, median(cpu)), median(wall), most, "")
}

// figure prints one figure with its unit.
func (s *sheet) figure(engine, what string, v, most float64, unit string) {
	s.line(engine, what, fmt.Sprintf("%7.1f %s", v, unit), v, most, " "+unit)
}

// rounds prints the median of what rounds took, with the least and the greatest.
func (s *sheet) rounds(engine, what string, v []float64, most float64, unit string) {
	text := fmt.Sprintf("%7.1f %s  %.1f to %.1f", median(v), unit, slices.Min(v), slices.Max(v))
	s.line(engine, what, text, median(v), most, " "+unit)
}

func (s *sheet) line(engine, what, text string, v, most float64, unit string) {
	verdict := ""
	if most > 0 {
		s.checked++
		verdict = "met"
		if v > most {
			s.missed++
			verdict = "NOT met"
		}
		verdict = fmt.Sprintf("at most %g%s: %s", most, unit, verdict)
	}
	fmt.Println(strings.TrimRight(fmt.Sprintf("  %-9s %-66s %-36s %s", engine, what, text, verdict), " "))
}

func (s *sheet) end() {
	fmt.Printf("\n%d requirements checked, %d not met. Ratios are medians of wall time, from least to greatest, then of CPU time.\n", s.checked, s.missed)
}

func median(v []float64) float64 {
	v = slices.Sorted(slices.Values(v))
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}
