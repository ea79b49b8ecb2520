package main

import (
	"fmt"
	"io"

	"earshot/internal/shoot"
)

// reliabilityBins are the upper ends of the ranges of stated chances.
var reliabilityBins = []float64{1e-5, 1e-4, 1e-3, 1e-2, 0.1, 0.3, 0.5, 0.7, 0.9, 1}

// reliability holds the chance of error that takes state against how many of
// them are wrong: of another moment, or laid elsewhere.
func reliability(w io.Writer, all []meeting) {
	fmt.Fprintln(w, "| stated chance of error | takes | of these sure | stated on average | found wrong | share | 95 % interval |")
	fmt.Fprintln(w, "|---|---|---|---|---|---|---|")
	low := 0.0
	for _, high := range reliabilityBins {
		takes, sure, wrong, sum := 0, 0, 0, 0.0
		for _, m := range all {
			if m.take == nil || m.take.Chance > high || m.take.Chance <= low {
				continue
			}
			takes, sum = takes+1, sum+m.take.Chance
			if m.take.Verdict == shoot.Sure {
				sure++
			}
			if !m.right || !m.placed {
				wrong++
			}
		}
		name := fmt.Sprintf("%g to %g", low, high)
		low = high
		if takes == 0 {
			fmt.Fprintf(w, "| %s | 0 | | | | | |\n", name)
			continue
		}
		least, most := interval(wrong, takes)
		fmt.Fprintf(w, "| %s | %d | %d | %.2g | %d | %.2g | %.2g to %.2g |\n", name, takes, sure, sum/float64(takes), wrong,
			float64(wrong)/float64(takes), least, most)
	}
}
