package dsp

import "math"

// An Onset is a sharp sound: a clap, a snap, a slate's sticks, a knock.
type Onset struct {
	At   float64 // seconds from the recording's zero, where it begins
	Peak float64 // dB re full scale of the differenced signal, the mean over its loudest 3 ms
	Rise float64 // dB above what went before it
}

// What makes an onset, in hops of onsetHop samples (1 ms). A clap's attack
// takes under 1 ms and its burst 3 to 10 ms (from memory; TestOnsetsOfClaps
// holds it against open recordings).
const (
	onsetHop    = ProxyRate / 1000
	onsetBefore = 80   // ms that must have been quieter
	onsetAfter  = 120  // ms by which it must have died away
	onsetRise   = 15.0 // dB over the mean of what went before
	onsetFall   = 9.0  // dB from the peak to what follows
	onsetAbove  = 3.0  // dB over what all but a hundredth of the recording stays under
	onsetApart  = 150  // ms between two of them
	onsetHold   = 1024 // ring of hops
)

// An OnsetFinder finds onsets in a stream of samples at ProxyRate. Its work is
// one difference and one square a sample, its memory a second of hops.
type OnsetFinder struct {
	prev   float32
	sum    float64
	fill   int
	ring   [onsetHold]float64 // mean square of the differenced signal, by hop
	n      int                // hops seen
	levels [256]int           // half decibels above -128
	found  []Onset
}

// Write takes the next samples. One that is not a finite number counts as
// silence.
func (o *OnsetFinder) Write(block []float32) {
	for _, v := range block {
		if v-v != 0 { // infinite or not a number
			v = 0
		}
		d := float64(v - o.prev)
		o.prev = v
		o.sum += d * d
		if o.fill++; o.fill == onsetHop {
			o.hop(o.sum / onsetHop)
			o.sum, o.fill = 0, 0
		}
	}
}

func (o *OnsetFinder) hop(e float64) {
	o.ring[o.n%onsetHold] = e
	o.levels[max(0, min(255, int(2*(decibels(e)+128))))]++
	o.n++
	o.judge(o.n - 1 - onsetAfter)
}

func (o *OnsetFinder) mean(from, to int) float64 {
	var s float64
	for i := max(from, 0); i < to; i++ {
		s += o.ring[i%onsetHold]
	}
	return s / float64(max(1, to-max(from, 0)))
}

// judge looks at hop i, of which enough is known on both sides.
func (o *OnsetFinder) judge(i int) {
	if i < 1 {
		return
	}
	here := o.ring[i%onsetHold]
	if here < 1e-9 || here < 8*o.ring[(i-1)%onsetHold] {
		return
	}
	before := o.mean(i-onsetBefore, i-1)
	if decibels(here)-decibels(before) < onsetRise {
		return
	}
	peak := 0.0
	for j := i; j < i+6; j++ {
		peak = math.Max(peak, o.mean(j, j+3))
	}
	if decibels(peak)-decibels(o.mean(i+onsetAfter-40, i+onsetAfter)) < onsetFall {
		return
	}
	at := float64(i) * onsetHop / ProxyRate
	if n := len(o.found); n > 0 && at-o.found[n-1].At < onsetApart/1000.0 {
		if decibels(peak) <= o.found[n-1].Peak {
			return
		}
		o.found = o.found[:n-1]
	}
	o.found = append(o.found, Onset{At: at, Peak: decibels(peak), Rise: decibels(peak) - decibels(before)})
}

// Onsets returns those that stand out of the whole recording, in order of
// time.
func (o *OnsetFinder) Onsets() []Onset {
	for range onsetAfter + 1 { // let the last ones die away
		o.hop(0)
	}
	seen, loud := 0, 0
	for v := 255; v >= 0; v-- {
		if seen += o.levels[v]; seen*100 > o.n {
			loud = v
			break
		}
	}
	least := float64(loud)/2 - 128 + onsetAbove
	var out []Onset
	for _, f := range o.found {
		if f.Peak >= least {
			out = append(out, f)
		}
	}
	return out
}

func decibels(power float64) float64 { return 10 * math.Log10(math.Max(power, 1e-13)) }
