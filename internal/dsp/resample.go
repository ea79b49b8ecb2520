package dsp

import (
	"errors"
	"fmt"
	"math"
	"math/bits"
)

const (
	resampleBlock   = 4096    // frames taken in, and given out, at a time
	resampleMaxStep = 64      // 192 kHz to 3 kHz
	resampleMaxPos  = 1 << 53 // float64 is exact to one sample up to here
)

var errResampleArgs = errors.New("resample: channels must be positive, " +
	"step within 1/64 and 64, start within ±2^53")

// A Resampler reads a sound at evenly spaced positions between its samples.
//
// Output frame n is the input at position
//
//	start + step·n,
//
// in input frames from the first one; before the first frame and after the
// last the input is silence. step 1.00003 reads a recording whose clock runs
// 30 ppm fast, 44100/48000 turns 44.1 kHz into 48 kHz, and a start of 0.5
// gives the sound half a frame early.
//
// Positions are kept as 64 whole and 64 fractional bits, so nothing gathers:
// after 10 hours at 48 kHz they are still within 1e-6 frames. Sums run in
// float64; only the result is rounded to float32. Memory is a few blocks,
// whatever the length, and no block allocates. Not for concurrent use.
type Resampler struct {
	channels int
	err      error // why nothing can be made
	kernel   *resampleKernel

	whole, stepWhole int64 // next position
	frac, stepFrac   uint64

	hist   [][]float64 // per channel; hist[c][0] is input frame base
	base   int64
	fill   int // frames in hist
	ended  bool
	end    int64 // first frame after the input, once ended
	made   int64 // output frames so far
	limit  int64 // output frames wanted, -1 for as long as the input
	out    []float32
	outLen int
}

// NewResampler returns a Resampler for interleaved frames of channels samples.
// Arguments that make no sense (step outside 1/64 ... 64, start beyond 2^53,
// no channels, not a number) are reported by Write and Flush.
//
// The filter is a sinc under a Kaiser window for 130 dB. The pass band ends
// at 0.907 of the slower side's Nyquist frequency, 20 kHz at 44.1 kHz; within
// it the level holds to 0.01 dB, and images and aliases stay below -120 dB
// (TestResampleTones). Above it there are two cases:
//
//   - step from 0.9 to 1.01, clocks that drift and 44.1 to 48 kHz: the filter
//     falls until as far beyond Nyquist as the pass band ends before it. What
//     lies above the pass band may leave an image above the pass band.
//   - all other steps: the filter has reached its full depth at Nyquist, so
//     nothing folds back, at twice the work.
//
// With step 1 and a whole start the output is the input, bit for bit. A
// sample that is not a finite number counts as silence.
//
// Source: J. O. Smith, Digital Audio Resampling, "bandlimited interpolation";
// here the stored kernels are finer and the window length follows from the
// figures above.
func NewResampler(channels int, start, step float64) *Resampler {
	r := &Resampler{channels: channels, limit: -1}
	if channels < 1 || !(step >= 1.0/resampleMaxStep && step <= resampleMaxStep) ||
		!(math.Abs(start) <= resampleMaxPos) {
		r.err = errResampleArgs
		return r
	}
	r.whole, r.frac = fixedPoint(start)
	r.stepWhole, r.stepFrac = fixedPoint(step)
	r.kernel = resampleKernelFor(step)
	r.base, r.fill = -int64(r.kernel.taps), r.kernel.taps // silence before the input
	r.hist = make([][]float64, channels)
	for c := range r.hist {
		r.hist[c] = make([]float64, r.kernel.taps+resampleBlock)
	}
	r.out = make([]float32, resampleBlock*channels)
	return r
}

// Limit makes the output n frames long, whatever the length of the input:
// Write then makes no more, and Flush fills up with silence. Without it the
// output ends with the last position before the end of the input.
func (r *Resampler) Limit(n int64) { r.limit = max(0, n) }

// Reach returns how many input frames on either side of a position its output
// depends on.
func (r *Resampler) Reach() int {
	if r.kernel == nil {
		return 0
	}
	return r.kernel.half
}

// Made returns the output frames given out so far.
func (r *Resampler) Made() int64 { return r.made }

// Done tells whether all output has been made: no input can change it.
func (r *Resampler) Done() bool {
	if r.limit >= 0 {
		return r.made >= r.limit
	}
	return r.ended && r.whole >= r.end
}

// Write takes the next input frames, interleaved, and calls out with every
// output frame they settle, interleaved, in blocks of at most 4096 frames. A
// block is only valid during the call. An error of out is returned as it is,
// and the Resampler is then of no further use.
func (r *Resampler) Write(in []float32, out func(block []float32) error) error {
	switch {
	case r.err != nil:
		return r.err
	case len(in)%r.channels != 0:
		return fmt.Errorf("resample: %d samples are no whole number of %d-channel frames", len(in), r.channels)
	case r.ended:
		return errors.New("resample: input after the end")
	}
	for len(in) > 0 && !r.Done() {
		n := min(len(in)/r.channels, len(r.hist[0])-r.fill)
		r.take(in[:n*r.channels])
		in = in[n*r.channels:]
		if err := r.run(out); err != nil {
			return err
		}
	}
	return r.emit(out)
}

// Flush ends the input and calls out, as Write does, with all output that is
// left.
func (r *Resampler) Flush(out func(block []float32) error) error {
	if r.err != nil {
		return r.err
	}
	if !r.ended {
		r.ended, r.end = true, r.base+int64(r.fill)
	}
	for !r.Done() {
		for _, h := range r.hist {
			clear(h[r.fill:])
		}
		r.fill = len(r.hist[0])
		if err := r.run(out); err != nil {
			return err
		}
	}
	return r.emit(out)
}

// take appends interleaved frames to the history, which has room for them.
func (r *Resampler) take(in []float32) {
	for c, h := range r.hist {
		h = h[r.fill:]
		for i, j := 0, c; j < len(in); i, j = i+1, j+r.channels {
			x := in[j]
			if x-x != 0 { // infinite or not a number
				x = 0
			}
			h[i] = float64(x)
		}
	}
	r.fill += len(in) / r.channels
}

// run makes every frame the history settles, then forgets what no later frame
// needs.
func (r *Resampler) run(out func([]float32) error) error {
	half, taps := int64(r.kernel.half), r.kernel.taps
	copying := r.frac == 0 && r.stepFrac == 0 && r.stepWhole == 1
	for !r.Done() {
		from := r.whole - half + 1 - r.base
		frame := r.out[r.outLen:][:r.channels]
		switch {
		case r.whole < -half || r.ended && r.whole-half >= r.end:
			clear(frame)
		case from+int64(taps) > int64(r.fill):
			r.forget(from)
			return nil
		case copying:
			for c, h := range r.hist {
				frame[c] = float32(h[from+half-1])
			}
		default:
			r.frame(frame, int(from))
		}
		if r.outLen += r.channels; r.outLen == len(r.out) {
			if err := r.emit(out); err != nil {
				return err
			}
		}
		r.made++
		var carry uint64
		r.frac, carry = bits.Add64(r.frac, r.stepFrac, 0)
		r.whole += r.stepWhole + int64(carry)
	}
	return nil
}

// frame computes one output frame from the history starting at from.
func (r *Resampler) frame(out []float32, from int) {
	a, b, f := r.kernel.at(r.frac)
	c := 0
	for ; c+1 < len(out); c += 2 {
		x, y := blend2(r.hist[c][from:], r.hist[c+1][from:], a, b, f)
		out[c], out[c+1] = float32(x), float32(y)
	}
	if c < len(out) {
		out[c] = float32(blend1(r.hist[c][from:], a, b, f))
	}
}

// forget drops the history before index from.
func (r *Resampler) forget(from int64) {
	n := int(min(from, int64(r.fill)))
	if n <= 0 {
		return
	}
	for _, h := range r.hist {
		copy(h, h[n:r.fill])
	}
	r.fill -= n
	r.base += int64(n)
}

// emit gives out the frames gathered so far.
func (r *Resampler) emit(out func([]float32) error) error {
	if r.outLen == 0 {
		return nil
	}
	block := r.out[:r.outLen]
	r.outLen = 0
	return out(block)
}

// Resample returns n frames of in, both interleaved, read at the positions
// start + step·i as a Resampler does; nil when its arguments make no sense.
func Resample(in []float32, channels int, start, step float64, n int) []float32 {
	r := NewResampler(channels, start, step)
	if r.err != nil || n < 0 || len(in)%channels != 0 {
		return nil
	}
	r.Limit(int64(n))
	res := make([]float32, 0, n*channels)
	keep := func(block []float32) error {
		res = append(res, block...)
		return nil
	}
	if r.Write(in, keep) != nil || r.Flush(keep) != nil {
		return nil
	}
	return res
}
