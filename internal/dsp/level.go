package dsp

import "math"

// A Level gathers the loudness figures of samples it is given. Full scale is a
// sample value of 1, 0 dBFS. RMS levels are plain: a full-scale square wave
// has 0 dBFS, a full-scale sine -3.01 dBFS (AES17 would call that 0). A sample
// that is not a finite number counts as silence. The zero value is ready.
type Level struct {
	n    int64
	sum  float64 // of squares
	peak float64
}

// Write adds samples; channels may be interleaved, all count alike.
func (l *Level) Write(x []float32) {
	sum, peak := l.sum, l.peak
	for _, v := range x {
		f := math.Abs(float64(v))
		if f-f != 0 {
			continue
		}
		sum += f * f
		peak = max(peak, f)
	}
	l.n += int64(len(x))
	l.sum, l.peak = sum, peak
}

// Samples returns how many samples were given.
func (l *Level) Samples() int64 { return l.n }

// RMS returns the root of the mean square, sqrt(sum x²/n); 0 for no samples.
func (l *Level) RMS() float64 {
	if l.n == 0 {
		return 0
	}
	return math.Sqrt(l.sum / float64(l.n))
}

// Peak returns the largest sample magnitude. The wave between samples may
// reach higher: this is no true peak.
func (l *Level) Peak() float64 { return l.peak }

// RMS returns the root of the mean square of x, see Level.
func RMS(x []float32) float64 {
	var l Level
	l.Write(x)
	return l.RMS()
}

// Peak returns the largest magnitude in x, see Level.
func Peak(x []float32) float64 {
	var l Level
	l.Write(x)
	return l.Peak()
}

// Decibels turns an amplitude ratio into decibels, 20·log10(ratio): -Inf for
// 0, and the sign of ratio does not count. Of a sample value, RMS or peak it
// gives dBFS.
func Decibels(ratio float64) float64 { return 20 * math.Log10(math.Abs(ratio)) }

// Gain turns decibels into an amplitude ratio, 10^(db/20): 0 for -Inf.
func Gain(db float64) float64 { return math.Pow(10, db/20) }
