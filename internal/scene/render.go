package scene

import (
	"iter"
	"math"
	"slices"
)

// SpeechLevel is the RMS, full scale 1, of speech at a device before its Gain:
// -23 dBFS while someone talks, with peaks some 12 dB above.
const SpeechLevel = 0.0708

// blockSize is how many samples Blocks hands out at once.
const blockSize = 1 << 15

// Render returns all of one recording, mono, rate samples per second on the
// device's own clock. See Blocks.
func (s *Scene) Render(d *Device, rate int) []float32 {
	out := make([]float32, 0, int(d.Length*float64(rate))+blockSize)
	for block := range s.Blocks(d, rate) {
		out = append(out, block...)
	}
	return out
}

// Blocks yields a recording in successive blocks: Length·rate samples in all,
// rounded to the nearest whole one, within [-1, 1]. A block is only valid
// until the next. The same scene, device and rate give the same samples.
//
// Sound is laid on a grid of twice the rate, band-limited to 0.43·rate, sent
// through the room there and read at the device's own instants.
func (s *Scene) Blocks(d *Device, rate int) iter.Seq[[]float32] {
	return func(yield func([]float32) bool) {
		total := int(math.Round(d.Length * float64(rate)))
		if len(d.Losses) > 0 || d.Gate > 0 {
			for part := range slices.Chunk(s.after(d, rate, total), blockSize) {
				if !yield(part) {
					return
				}
			}
			return
		}
		paths := s.open(d, rate)
		chain := newChain(s, d, float64(rate))
		block := make([]float64, blockSize)
		out := make([]float32, blockSize)
		for done := 0; done < total; {
			n := min(blockSize, total-done)
			clear(block)
			for _, p := range paths {
				p.add(block[:n], done)
			}
			chain.run(block[:n], out[:n])
			if !yield(out[:n]) {
				return
			}
			done += n
		}
	}
}

// after renders, all at once, what is done to a recording as a whole: its noise
// is suppressed, and losses are cut into it.
func (s *Scene) after(d *Device, rate, total int) []float32 {
	whole := *d
	whole.Losses, whole.Gate = nil, 0
	for _, l := range d.Losses {
		whole.Length += max(0, l.Seconds)
	}
	out := s.Render(&whole, rate)
	if d.Gate > 0 {
		out = gated(out, rate, d.Gate)
	}
	return d.spliced(out, float64(rate), total)
}

// A listener reads one path at a device's instants.
type listener struct {
	grid  *grid
	clock Clock
	rate  float64
	path  Path
	gain  float64
}

// open prepares every path that carries sound.
func (s *Scene) open(d *Device, rate int) []*listener {
	var out []*listener
	fine := 2 * float64(rate)
	for talker, p := range d.Paths {
		if p.Gain == silent {
			continue
		}
		var talk []Utterance
		last := d.Clock.World(d.Length)
		for _, u := range s.Talk {
			if u.Talker == talker && u.At < last+1 && u.End() > d.Clock.Start-8 {
				talk = append(talk, u)
			}
		}
		if talk == nil {
			continue
		}
		top := 0.43 * float64(rate)
		out = append(out, &listener{
			grid: newGrid(talk, p.Room, fine, top), clock: d.Clock, rate: float64(rate), path: p,
			gain: factor(p.Gain) / roomGain(talk, p.Room),
		})
	}
	return out
}

// add adds samples done.. of the device to block.
func (l *listener) add(block []float64, done int) {
	place := func(n int) float64 { // on the grid
		return l.path.left(l.clock.World(float64(n)/l.rate)) * l.grid.rate
	}
	half := int64(clockKernel.half)
	from := int64(math.Floor(place(done))) - half
	to := int64(math.Floor(place(done+len(block)-1))) + half + 2
	near := l.grid.span(from, to)
	for i := range block {
		block[i] += l.gain * clockKernel.at(near, place(done+i)-float64(from))
	}
}

// roomGain returns by how much a room makes talk louder: RMS of the first
// seconds of speech through the room over their RMS when dry. Claps are left
// out.
func roomGain(talk []Utterance, room *Response) float64 {
	if room == nil {
		return 1
	}
	const rate, seconds, most = 16000, 6, 20
	var some []Utterance
	at := 1.0
	for _, u := range talk {
		if !u.Clap && at < 1+seconds {
			u.At = at
			some, at = append(some, u), u.End()+0.05
		}
	}
	if some == nil {
		return 1
	}
	n := int64(min(at+1, most) * rate)
	wet, dry := newGrid(some, room, rate, 0.43*rate), newGrid(some, nil, rate, 0.43*rate)
	return rms(wet.span(0, n)) / rms(dry.span(0, n))
}

// rms returns the root mean square, never zero.
func rms(x []float32) float64 {
	sum := 1e-20
	for _, v := range x {
		sum += float64(v) * float64(v)
	}
	return math.Sqrt(sum / float64(max(1, len(x))))
}
