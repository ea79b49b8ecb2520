package match

import (
	"math"
	"slices"

	"earshot/internal/dsp"
)

// Levels are compared in steps of 0.1 s: longer than rooms shift a sound,
// shorter than a word.
const (
	levelRows = 5 // rows of a sketch
	levelStep = levelRows / dsp.SketchRate
)

// Levels turns rows of a sketch into powers, full scale 1, one for every 0.1 s.
// Bands under some 280 Hz, where cloth rubs and rooms rumble, are left out.
func Levels(rows []byte) []float64 {
	const lowest, step = 2, levelRows * dsp.SketchBands
	out := make([]float64, len(rows)/step)
	for i := range out {
		for r := range levelRows {
			for _, v := range rows[i*step+r*dsp.SketchBands+lowest : i*step+(r+1)*dsp.SketchBands] {
				out[i] += math.Pow(10, float64(v)/20-11) / levelRows
			}
		}
	}
	return out
}

// Voices says what of a clip's voices goes with which of two microphones, a
// and b, worn by two talkers.
type Voices struct {
	A, B               float64 // dB re full scale: how loud the clip is, its noise taken off, while a's wearer talks and while b's does
	OwnA, OwnB         float64 // dB re full scale: how loud their own microphones are then, b's turned up by gain
	SecondsA, SecondsB float64 // of the clip in which one or the other talks
}

// What makes the one or the other the nearer.
const (
	fewTalk   = 1.0  // seconds of talk that count
	tellApart = 3.0  // dB by which a wearer's own microphone is louder, the microphones' gains taken off
	twoModes  = 10.0 // dB between the levels' two modes when both wearers talk
	oneMode   = 6.0  // dB by which a microphone alone is louder throughout
	fewDB     = 2.0  // by which one must be nearer
)

// HearVoices tells who talks when by which of two microphones is louder, and
// how loud the clip is then. clip, a and b are levels of the same steps of
// time. gain is how many dB louder a is than b for the same sound, from
// GainBetween.
//
// Each talker is louder, by 10 dB and more, in the microphone they wear, which
// is five to ten times nearer to them than the other's. So the louder one says
// who talks, and the clip's own level then says who of the two is nearer to the
// camera, or turned to it.
func HearVoices(clip, a, b []float64, gain float64) Voices {
	n := min(len(clip), len(a), len(b))
	clip, a, b = clip[:n], a[:n], b[:n]
	loudA, loudB := loudFrom(a), loudFrom(b)
	var sum, own, count [2]float64
	var quiet, pauses float64
	for i := range n {
		if a[i] < loudA && b[i] < loudB {
			quiet, pauses = quiet+clip[i], pauses+1
			continue
		}
		d := inDB(a[i]/b[i]) - gain
		switch {
		case d >= tellApart && a[i] >= loudA:
			sum[0], own[0], count[0] = sum[0]+clip[i], own[0]+a[i], count[0]+1
		case d <= -tellApart && b[i] >= loudB:
			sum[1], own[1], count[1] = sum[1]+clip[i], own[1]+b[i], count[1]+1
		}
	}
	noise := under(clip, 0.05)
	if pauses > 5 {
		noise = quiet / pauses
	}
	level := func(k int) float64 {
		if count[k]*levelStep < fewTalk {
			return math.Inf(-1)
		}
		return inDB(math.Max(sum[k]/count[k]-noise, 1e-12))
	}
	return Voices{A: level(0), B: level(1),
		OwnA: inDB(own[0] / math.Max(1, count[0])), OwnB: inDB(own[1]/math.Max(1, count[1])) + gain, SecondsA: count[0] * levelStep, SecondsB: count[1] * levelStep}
}

// loudFrom is the power from which a microphone hears talk: 12 dB above what a
// tenth of its steps stay under, no more than 20 dB under its loudest.
func loudFrom(x []float64) float64 {
	return math.Max(under(x, 0.1)*15.8, under(x, 0.95)/100)
}

// under is what a share q of x, which stays as it is, lies under.
func under(x []float64, q float64) float64 { return dsp.Quantile(slices.Clone(x), q) }

func inDB(power float64) float64 { return 10 * math.Log10(math.Max(power, 1e-12)) }

// GainBetween is how many dB louder microphone a is than b for the same sound,
// from how their levels differ while somebody talks. Where both wearers talk
// the difference has two modes, of which the gain is the middle. Where it has
// one, the gain is taken as none if one microphone is clearly the louder, and
// told is false if not: then nothing says whose voice it is.
func GainBetween(a, b []float64) (gain float64, told bool) {
	n := min(len(a), len(b))
	loudA, loudB := loudFrom(a[:n]), loudFrom(b[:n])
	var diff []float64
	for i := range n {
		if a[i] >= loudA || b[i] >= loudB {
			diff = append(diff, inDB(a[i]/b[i]))
		}
	}
	if float64(len(diff))*levelStep < fewTalk {
		return 0, false
	}
	low, high := under(diff, 0.02), under(diff, 0.98)
	var few int
	for range 20 { // two means
		var sum, count [2]float64
		for _, d := range diff {
			k := 0
			if d > (low+high)/2 {
				k = 1
			}
			sum[k], count[k] = sum[k]+d, count[k]+1
		}
		low, high = sum[0]/math.Max(1, count[0]), sum[1]/math.Max(1, count[1])
		few = int(min(count[0], count[1]))
	}
	if high-low >= twoModes && float64(few)*levelStep >= fewTalk && low < 0 && high > 0 {
		return (low + high) / 2, true
	}
	middle := under(diff, 0.5)
	return 0, math.Abs(middle) >= oneMode
}

// Nearer is by how many dB the one wearer is nearer to the camera than the
// other, above 0 when that is a's, below when b's; 0 when nothing tells. Only
// one of them may talk at all, which counts as 60 dB.
//
// How loud the clip is with the one and with the other holds how loud each of
// them talks, which their own microphones tell. Half of that is taken off: all
// of it would mislead where the camera levels automatically, and a voice that
// fills the clip is what a listener takes for the one shown.
func (v Voices) Nearer() float64 {
	const alone = 60
	switch {
	case math.IsInf(v.A, -1) && math.IsInf(v.B, -1):
		return 0
	case math.IsInf(v.B, -1):
		return alone
	case math.IsInf(v.A, -1):
		return -alone
	}
	if d := v.A - v.B - (v.OwnA-v.OwnB)/2; math.Abs(d) >= fewDB {
		return d
	}
	return 0
}
