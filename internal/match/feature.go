// Package match finds which sound belongs to which clip: candidates from
// sketches, all against all, then one assignment that keeps the rules of the
// world. It opens no file.
package match

import (
	"math"

	"earshot/internal/dsp"
)

// A feature is a sketch made comparable: for every band the change of level
// over two rows, with the noise floor lifted under it so that only what stands
// out of the noise moves. Band b's row i is feature[b][i].
type feature [dsp.SketchBands][]float32

// lift is how far above the floor the levels are softened, as a power ratio.
const lift = 2

// steepest is the largest change that counts, decibels.
const steepest = 15

func newFeature(s dsp.Sketch) feature {
	var f feature
	n := s.Rows()
	for b := range f {
		levels := make([]float32, n)
		floor := power[floorLevel(s, b)]
		for i := range levels {
			levels[i] = float32(10 * math.Log10(power[s[i*dsp.SketchBands+b]]+lift*floor))
		}
		f[b] = change(levels)
	}
	return f
}

// power of a sketch's byte, re full scale.
var power = func() (p [256]float64) {
	for i := range p {
		p[i] = math.Pow(10, (float64(i)/2-110)/10)
	}
	return p
}()

// floorLevel is the level that a fifth of a band's rows stay under, leaving
// out digital silence.
func floorLevel(s dsp.Sketch, band int) byte {
	var count [256]int
	total := 0
	for i := band; i < len(s); i += dsp.SketchBands {
		if s[i] > 0 {
			count[s[i]]++
			total++
		}
	}
	seen := 0
	for v, c := range count {
		if seen += c; seen*5 > total {
			return byte(v)
		}
	}
	return 0
}

func change(levels []float32) []float32 {
	out := make([]float32, len(levels))
	for i := 1; i+1 < len(levels); i++ {
		d := levels[i+1] - levels[i-1]
		out[i] = max(-steepest, min(steepest, d))
	}
	return out
}

// energy returns the running sum of squares over all bands: energy[j]-energy[i]
// is that of rows i up to j.
func (f *feature) energy() []float64 {
	sum := make([]float64, len(f[0])+1)
	for i := range f[0] {
		var e float64
		for b := range f {
			e += float64(f[b][i]) * float64(f[b][i])
		}
		sum[i+1] = sum[i] + e
	}
	return sum
}
