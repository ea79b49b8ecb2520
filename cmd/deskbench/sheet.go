package main

import (
	"fmt"
	"slices"
	"strings"
)

// A sheet prints findings, one a line, and counts what is not met.
type sheet struct{ checked, missed int }

func (s *sheet) head(text string) { fmt.Printf("\n%s\n", text) }

// figure prints a figure; most 0 asks for nothing, below 0 for at least so much.
func (s *sheet) figure(what, text string, v, most float64, unit string) {
	verdict := ""
	if most != 0 {
		s.checked++
		met := v <= most
		verdict = fmt.Sprintf("at most %.4g %s: ", most, unit)
		if most < 0 {
			met = v >= -most
			verdict = fmt.Sprintf("at least %g %s: ", -most, unit)
		}
		if met {
			verdict += "met"
		} else {
			verdict += "NOT met"
			s.missed++
		}
	}
	fmt.Println(strings.TrimRight(fmt.Sprintf("  %-58s %-42s %s", what, text, verdict), " "))
}

// Bounds of smoothness: frames a second at the median, and the longest frame.
const (
	leastFPS = 50
	longest  = 100 // ms
)

// frames prints what frames took. The longest counts as the page's own only
// where an idle page of the same run has none as long.
func (s *sheet) frames(what string, took []float64, idle float64) {
	if len(took) == 0 {
		s.figure(what, "no frame", 0, -leastFPS, "fps")
		return
	}
	fps := 1000 / quantile(took, 0.5)
	most := slices.Max(took)
	s.figure(what, fmt.Sprintf("%5.1f fps", fps), fps, -leastFPS, "fps")
	s.figure("", fmt.Sprintf("95 %% within %.1f ms, longest %.1f ms", quantile(took, 0.95), most), most, max(longest, idle), "ms")
}

func quantile(v []float64, q float64) float64 {
	v = slices.Sorted(slices.Values(v))
	return v[min(len(v)-1, int(q*float64(len(v))))]
}

func (s *sheet) end() { fmt.Printf("\n%d requirements checked, %d not met\n", s.checked, s.missed) }
