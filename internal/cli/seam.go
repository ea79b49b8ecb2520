package cli

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"earshot/internal/app"
)

// Rows of the seam picture above and below its middle.
const seamReach = 3

// seamPicture draws the leftover along the take with plain characters: time
// runs to the right, late is up, early is down, and the line in the middle is
// where the scratch lies. Each column shows the median of its windows.
//
//	 1.0 ms late  |
//	              |      o o
//	              |  o
//	         0.0  |--o-o-o---o-o-o--
//	              |
//	              |
//	1.0 ms early  |
//	               0:00       10:00
//
// The scale is the smallest of 0.5, 1, 2, 5, 10, 20, 50 ... ms that holds
// every column. Fewer than two windows give no picture.
func seamPicture(windows []app.SeamPoint, width int) []string {
	if len(windows) < 2 || width < 8 {
		return nil
	}
	width = min(width, max(16, 2*len(windows)))
	begin, end := windows[0].At, windows[0].At
	for _, w := range windows {
		begin, end = math.Min(begin, w.At), math.Max(end, w.At)
	}
	columns, reach := seamColumns(windows, width, begin, end)
	scale := seamScale(reach)

	rows := make([][]byte, 2*seamReach+1)
	for i := range rows {
		rows[i] = []byte(strings.Repeat(" ", width))
	}
	rows[seamReach] = []byte(strings.Repeat("-", width))
	for x, ms := range columns {
		if !math.IsNaN(ms) {
			y := seamReach - int(math.Round(ms/scale*seamReach))
			rows[y][x] = 'o'
		}
	}
	labels := map[int]string{
		0:             fmt.Sprintf("%g ms late", scale),
		seamReach:     "0",
		2 * seamReach: fmt.Sprintf("%g ms early", scale),
	}
	var lines []string
	for i, r := range rows {
		lines = append(lines, strings.TrimRight("  "+pad(labels[i], 13, true)+" |"+string(r), " "))
	}
	from, to := moment(begin), moment(end)
	return append(lines, "  "+pad("", 15, false)+from+pad(to, width-len(from), true))
}

// seamColumns sorts the windows into columns and returns each column's median
// (NaN where there is none) and the largest absolute one.
func seamColumns(windows []app.SeamPoint, width int, begin, end float64) (columns []float64, reach float64) {
	heaps := make([][]float64, width)
	for _, w := range windows {
		x := 0
		if end > begin {
			x = int((w.At - begin) / (end - begin) * float64(width-1))
		}
		if !math.IsNaN(w.Late) && !math.IsInf(w.Late, 0) {
			heaps[x] = append(heaps[x], w.Late)
		}
	}
	columns = make([]float64, width)
	for x, heap := range heaps {
		columns[x] = math.NaN()
		if len(heap) > 0 {
			sort.Float64s(heap)
			columns[x] = heap[len(heap)/2]
			reach = math.Max(reach, math.Abs(columns[x]))
		}
	}
	return columns, reach
}

// seamScale returns the smallest round figure that holds reach.
func seamScale(reach float64) float64 {
	for decade := 0.1; decade < 1e6; decade *= 10 {
		for _, m := range []float64{1, 2, 5} {
			if scale := math.Round(m*decade*10) / 10; scale >= 0.5 && reach <= scale {
				return scale
			}
		}
	}
	return reach
}
