package align

import (
	"math"
	"sort"

	"earshot/internal/dsp"
)

// firstLook takes a few windows, spread and where the sound is loudest. Where
// they show a match beyond doubt, that is where to go on from; where something
// rises out of the noise, more windows are taken, and what is as faint as chance
// makes it must rise with them; nil where nothing does.
// Unrelated recordings seldom pass, and cost little.
func firstLook(clip, sound Source, line Alignment, from, to float64) (*measurement, error) {
	width := float64(windowSize(to-from)) / dsp.ProxyRate
	times := spread(from, to, width, fewWindows)
	loud, err := loudest(sound, line, from, to, width, fewWindows)
	if err != nil {
		return nil, err
	}
	times = append(times, loud...)
	sort.Float64s(times)
	f, err := take(clip, sound, line, from, to, times)
	if err != nil {
		return nil, err
	}
	p := f.stack.search(MaxDrift, Tolerance)
	height := math.Abs(p.height) / f.stack.noise
	if height < faint {
		return nil, nil
	}
	if _, matching := f.stack.where(p); height >= beyondDoubt && matching >= mostMatch {
		f.settle(f.stack.refine(p, false), false)
		f.few = true
		return f, nil
	}
	f, err = measure(clip, sound, line, from, to, firstWindows, MaxDrift)
	if err != nil || f.Strength < faint || f.Strength >= likely {
		return f, err
	}
	f, err = measure(clip, sound, line, from, to, mostWindows, MaxDrift)
	if err != nil || f.Strength < grown {
		return nil, err
	}
	return f, nil
}

// differences is the sum of the squares of what samples change by, one after the
// other: rumble counts for nothing in it.
func differences(v []float32) float64 {
	var sums [4]float32 // neither waits for the other
	i := 1
	for ; i+4 <= len(v); i += 4 {
		for j := range sums {
			d := v[i+j] - v[i+j-1]
			sums[j] += d * d
		}
	}
	for ; i < len(v); i++ {
		d := v[i] - v[i-1]
		sums[0] += d * d
	}
	return float64(sums[0]) + float64(sums[1]) + float64(sums[2]) + float64(sums[3])
}

// loudest returns the middles of up to n stretches of clip time of the given
// width, apart by half of it, in which the sound is loudest along line.
func loudest(sound Source, line Alignment, from, to, width float64, n int) ([]float64, error) {
	hop := width / 2
	half := make([]float32, int(hop*dsp.ProxyRate))
	type stretch struct{ at, power float64 }
	var all []stretch
	last := 0.0 // power of the half before
	for t := from; t+hop <= to; t += hop {
		if err := sound.ReadAt(half, int(line.Sound(t)*dsp.ProxyRate)); err != nil {
			return nil, err
		}
		sum := differences(half)
		if t > from {
			all = append(all, stretch{t, last + sum})
		}
		last = sum
	}
	sort.Slice(all, func(i, j int) bool { return all[i].power > all[j].power })
	var times []float64
	for _, s := range all[:min(n, len(all))] {
		times = append(times, s.at)
	}
	return times, nil
}
