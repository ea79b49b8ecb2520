package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
)

// writeDocs puts both tables in their places in accuracy.md of a folder, and
// the picture beside it.
func writeDocs(dir, cells, boundRows string, spreads []spread) error {
	if err := writeParts(dir, map[string]string{"cells": cells, "bound": boundRows}); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(dir, "bound.svg"), []byte(picture(spreads)), 0o644)
}

// writeParts puts what was printed in its places in accuracy.md of a folder,
// by the names of the marks.
func writeParts(dir string, parts map[string]string) error {
	path := filepath.Join(dir, "accuracy.md")
	page, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	text := string(page)
	for name, table := range parts {
		if text, err = between(text, name, table); err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
	}
	return os.WriteFile(path, []byte(text), 0o644)
}

// between replaces what stands in a page between the marks of a name.
func between(page, name, with string) (string, error) {
	from, to := "<!-- "+name+" -->\n", "<!-- end of "+name+" -->"
	i, j := strings.Index(page, from), strings.Index(page, to)
	if i < 0 || j < i {
		return "", fmt.Errorf("the marks of %q are not there", name)
	}
	return page[:i+len(from)] + "\n" + strings.TrimSpace(with) + "\n\n" + page[j:], nil
}

// The picture's frame, in its own units, and what it shows.
const (
	pictureWide, pictureHigh   = 640.0, 400.0
	frameLeft, frameRight      = 70.0, 620.0
	frameTop, frameBottom      = 30.0, 350.0
	leastMicros, mostMicros    = 0.01, 100.0
	leastRatio, mostRatio      = -18.0, 30.0
	pictureInk, pictureMeasure = "#333", "#0a6e5c"
)

// picture draws the spread of the errors against the ratio, with the bound, as
// SVG. Ratios at which any run was lost are hollow.
func picture(spreads []spread) string {
	x := func(snr float64) float64 {
		return frameLeft + (frameRight-frameLeft)*(snr-leastRatio)/(mostRatio-leastRatio)
	}
	y := func(micros float64) float64 {
		share := math.Log(micros/leastMicros) / math.Log(mostMicros/leastMicros)
		return frameBottom - (frameBottom-frameTop)*math.Max(0, math.Min(1, share))
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" font-family="sans-serif" font-size="12" fill="%s">`+"\n", pictureWide, pictureHigh, pictureInk)
	fmt.Fprintf(&b, `<title>Spread of the offset's error against the signal-to-noise ratio, and the Cramér-Rao bound</title><rect width="100%%" height="100%%" fill="#fff"/>`+"\n")
	for m := leastMicros; m <= mostMicros*1.01; m *= 10 {
		fmt.Fprintf(&b, `<path d="M%g %.1fH%g" stroke="#ddd"/><text x="%g" y="%.1f" text-anchor="end">%.4g µs</text>`+"\n", frameLeft, y(m), frameRight, frameLeft-6, y(m)+4, m)
	}
	for snr := leastRatio; snr <= mostRatio; snr += 6 {
		fmt.Fprintf(&b, `<text x="%.1f" y="%g" text-anchor="middle">%+.0f dB</text>`+"\n", x(snr), frameBottom+18, snr)
	}
	var line []string
	for _, s := range spreads {
		line = append(line, fmt.Sprintf("%.1f %.1f", x(s.snr), y(s.bound*1e6)))
	}
	fmt.Fprintf(&b, `<path d="M%s" fill="none" stroke="%s" stroke-width="1.5"/>`+"\n", strings.Join(line, "L"), pictureInk)
	for _, s := range spreads {
		if s.lost == s.of {
			continue
		}
		fill := pictureMeasure
		if s.lost > 0 {
			fill = "#fff"
		}
		fmt.Fprintf(&b, `<circle cx="%.1f" cy="%.1f" r="4" fill="%s" stroke="%s"/>`+"\n", x(s.snr), y(s.sigma*1e6), fill, pictureMeasure)
	}
	fmt.Fprintf(&b, `<text x="%g" y="%g">dots: measured, hollow where some runs took a wrong peak; line: the bound; ratio in both recordings</text></svg>`+"\n", frameLeft, pictureHigh-12)
	return b.String()
}
