package app

import (
	"context"
	"encoding/binary"
	"io"
	"math"
	"sort"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/media"
)

// clipRate is the rate of a finished clip's good sound, Hz: what cameras use.
const clipRate = 48000

// fadeLength is the crossfade where good sound and scratch meet, in frames.
const fadeLength = clipRate / 20

// spliceLength is the crossfade where the good sound goes on along another
// line, in frames.
const spliceLength = clipRate / 100

// A voice is one sound track laid on a clip's clock.
type voice struct {
	app      *App
	rec      *recording
	track    int
	lie      align.Alignment // of the clip's clock on the track's
	channels int             // to deliver
	gain     float32
	good     bool // the good sound, not what fills in for it
}

// play delivers the frames from up to to, excluded, of the clip's clock at
// clipRate, interleaved. Where the track has none there is silence.
func (v *voice) play(ctx context.Context, from, to int64, out func([]float32) error) error {
	snd := v.rec.info.Sounds[v.track]
	rate := float64(snd.Rate)
	step := (1 + v.lie.Drift) * rate / clipRate
	pos := v.lie.Sound(float64(from)/clipRate) * rate
	reach := dsp.NewResampler(snd.Channels, 0, step).Reach() + 2
	first := max(0, int64(math.Floor(pos))-int64(reach))
	last := int64(math.Ceil(pos+step*float64(to-from))) + int64(reach)
	res := dsp.NewResampler(snd.Channels, pos-float64(first), step)
	res.Limit(to - from)
	mix := newMixer(snd.Channels, v.channels, v.gain)
	deliver := func(block []float32) error { return out(mix.run(block)) }
	if last > first {
		req := media.Decode{Path: v.rec.path, Info: &v.rec.info, Stream: v.track,
			From: float64(first) / rate, To: float64(last) / rate}
		err := v.app.Engine.Decode(ctx, req, func(block []float32) error { return res.Write(block, deliver) })
		if err != nil {
			return err
		}
	}
	return res.Flush(deliver)
}

// A mixer turns blocks of one channel count into another: equal counts pass,
// one channel goes to all, otherwise all channels' mean goes to all.
type mixer struct {
	in, out int
	gain    float32
	buf     []float32
}

func newMixer(in, out int, gain float32) *mixer { return &mixer{in: in, out: out, gain: gain} }

func (m *mixer) run(block []float32) []float32 {
	if m.in == m.out && m.gain == 1 {
		return block
	}
	m.buf = m.buf[:0]
	for i := 0; i+m.in <= len(block); i += m.in {
		frame := block[i : i+m.in]
		if m.in == m.out {
			for _, v := range frame {
				m.buf = append(m.buf, v*m.gain)
			}
			continue
		}
		var sum float32
		for _, v := range frame {
			sum += v
		}
		sum *= m.gain / float32(m.in)
		for range m.out {
			m.buf = append(m.buf, sum)
		}
	}
	return m.buf
}

// A part is a stretch of the finished sound, in frames, played by one voice;
// a nil voice is silence.
type part struct {
	from, to int64
	voice    *voice
}

// A composer plays parts one after the other, with a short crossfade inside the
// good sound where two meet.
type composer struct {
	out      func(block []float32) error // a block is only valid during the call
	channels int
	carry    []float32 // the old side of the crossfade that is due
}

// run plays all parts. They touch, in order.
func (c *composer) run(ctx context.Context, parts []part) error {
	for i, p := range parts {
		from, to, hold := p.from, p.to, int64(0)
		if i > 0 {
			from, _ = crossing(parts[i-1], p)
		}
		if i+1 < len(parts) {
			var begin int64
			begin, to = crossing(p, parts[i+1])
			hold = to - begin
		}
		if err := c.part(ctx, p, from, to, hold); err != nil {
			return err
		}
	}
	return c.out(c.carry)
}

// crossing is where one part fades into the next: inside the good sound where
// one of the two is not good, about the cut where both are.
func crossing(p, next part) (from, to int64) {
	switch {
	case p.good() && next.good():
		return p.to - spliceLength/2, p.to + spliceLength/2
	case p.good():
		return p.to - fadeLength, p.to
	default:
		return p.to, p.to + fadeLength
	}
}

func (p part) good() bool { return p.voice != nil && p.voice.good }

// part plays one part, fades its beginning over carry, and keeps its last hold
// frames as the next carry.
func (c *composer) part(ctx context.Context, p part, from, to, hold int64) error {
	carry, done := c.carry, 0
	c.carry = nil
	var late []float32 // delayed by hold frames
	n := int64(len(carry) / c.channels)
	take := func(block []float32) error {
		if done < len(carry) {
			m := min(len(carry)-done, len(block))
			mixed := append([]float32(nil), block...)
			dsp.FadeLinear.Cross(mixed[:m], carry[done:done+m], block[:m], c.channels, int64(done/c.channels), n)
			done += m
			block = mixed
		}
		late = append(late, block...)
		ready := len(late) - int(hold)*c.channels
		if ready <= 0 {
			return nil
		}
		err := c.out(late[:ready])
		late = late[:copy(late, late[ready:])]
		return err
	}
	var err error
	if p.voice == nil {
		err = quiet(to-from, c.channels, take)
	} else {
		err = p.voice.play(ctx, from, to, take)
	}
	c.carry = late
	return err
}

func quiet(frames int64, channels int, out func([]float32) error) error {
	block := make([]float32, 4096*channels)
	for frames > 0 {
		n := min(frames, 4096)
		if err := out(block[:n*int64(channels)]); err != nil {
			return err
		}
		frames -= n
	}
	return nil
}

// littleEndian writes blocks to w as little-endian float32.
func littleEndian(w io.Writer) func(block []float32) error {
	var bytes []byte
	return func(block []float32) error {
		bytes = bytes[:0]
		for _, v := range block {
			bytes = binary.LittleEndian.AppendUint32(bytes, math.Float32bits(v))
		}
		_, err := w.Write(bytes)
		return err
	}
}

// levelMatch returns the gain in dB that brings the scratch to the good
// sound's level: the ratio of their powers in the louder half of up to 60
// seconds that both hold, at most 30 dB either way.
func levelMatch(scratch, good align.Source, f *align.Found) (float64, error) {
	const most, second = 60, dsp.ProxyRate
	n := max(1, int(math.Min(most, math.Floor(f.To-f.From))))
	piece := math.Max(0, math.Min(1, f.To-f.From)) // seconds
	pairs := make([][2]float64, n)
	x, y := make([]float32, int(piece*second)), make([]float32, int(piece*second))
	for i := range pairs {
		t := f.From + (f.To-f.From-piece)*float64(i)/math.Max(1, float64(n-1))
		if err := scratch.ReadAt(x, int(t*second)); err != nil {
			return 0, err
		}
		if err := good.ReadAt(y, int(f.At(t)*second)); err != nil {
			return 0, err
		}
		pairs[i] = [2]float64{power(x), power(y)}
	}
	var sx, sy float64
	for _, p := range loudHalf(pairs) {
		sx, sy = sx+p[0], sy+p[1]
	}
	if sx == 0 || sy == 0 {
		return 0, nil
	}
	return math.Max(-30, math.Min(30, 10*math.Log10(sy/sx))), nil
}

func power(x []float32) float64 {
	r := dsp.RMS(x)
	return r * r
}

// loudHalf returns the half of the pairs in which the second is loudest.
func loudHalf(pairs [][2]float64) [][2]float64 {
	sort.Slice(pairs, func(i, j int) bool { return pairs[i][1] > pairs[j][1] })
	return pairs[:(len(pairs)+1)/2]
}

// headroom lowers a gain in dB so that what v plays between two frames, at its
// own rate and in each of its channels, stays a decibel under full scale. It
// never lowers it below 0 dB.
func headroom(ctx context.Context, v *voice, from, to int64, gain float64) (float64, error) {
	const ceiling = -1.0 // dB
	if gain <= 0 {
		return gain, nil
	}
	peak := 0.0
	err := v.play(ctx, from, to, func(block []float32) error {
		peak = math.Max(peak, dsp.Peak(block))
		return nil
	})
	if err != nil || peak == 0 {
		return gain, err
	}
	return math.Min(gain, math.Max(0, ceiling-dsp.Decibels(peak))), nil
}
