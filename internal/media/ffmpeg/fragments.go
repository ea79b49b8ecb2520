package ffmpeg

import (
	"encoding/binary"
	"errors"
	"math"
)

// fragmented asks for a fragmented MOV on stdout: each fragment is a moof box that
// says when it starts and how long it lasts, and an mdat box with what it holds
// (ISO/IEC 14496-12, 8.8).
func fragmented() []word {
	return words("-f", "mov", "-avoid_negative_ts", "disabled",
		"-movflags", "empty_moov+frag_every_frame+default_base_moof+frag_discont+omit_tfhd_offset+skip_trailer", "pipe:1")
}

// fragments reads what fragmented asks for. Decoded sound comes out of the engine
// so, and pictures whose times matter. Bare samples would not do: when
// a damaged or spliced stream changes its channels or rate for a moment, the
// engine builds its filters anew, and these begin once more with silence from
// zero on. With the times beside them the samples still land where they belong.
type fragments struct {
	take func(at, length int64, body []byte) error // times in the track's units; body is only valid during the call

	head    []byte // of the box that is coming in
	kind    string
	left    int64  // bytes of the box still to come
	moof    []byte // gathered
	timed   bool   // a moof has come whose mdat has not
	at      int64  // next fragment's time
	length  int64
	pending []byte // mdat bytes gathered
}

var errFragment = errors.New("the media engine's output makes no sense")

const maxFragment = 64 << 20 // bytes of one moof or mdat

// write takes the next bytes of the engine's output.
func (f *fragments) write(b []byte) error {
	for len(b) > 0 {
		if f.left == 0 {
			n := min(8-len(f.head), len(b))
			f.head, b = append(f.head, b[:n]...), b[n:]
			if len(f.head) < 8 {
				return nil
			}
			f.kind = string(f.head[4:8])
			f.left = int64(binary.BigEndian.Uint32(f.head)) - 8
			f.head = f.head[:0]
			if f.left < 0 || f.left > maxFragment {
				return errFragment
			}
			f.moof, f.pending = f.moof[:0], f.pending[:0]
		}
		n := min(f.left, int64(len(b)))
		switch f.kind {
		case "moof":
			f.moof = append(f.moof, b[:n]...)
		case "mdat":
			f.pending = append(f.pending, b[:n]...)
		}
		f.left -= n
		b = b[n:]
		if f.left == 0 {
			if err := f.end(); err != nil {
				return err
			}
		}
	}
	return nil
}

// end acts on a whole box.
func (f *fragments) end() error {
	switch f.kind {
	case "moof":
		if f.at, f.length, f.timed = readMoof(f.moof); !f.timed {
			return errFragment
		}
	case "mdat":
		if !f.timed {
			return errFragment
		}
		f.timed = false
		return f.take(f.at, f.length, f.pending)
	}
	return nil
}

// boxes calls fn for every box in b until fn returns false.
func boxes(b []byte, fn func(kind string, body []byte) bool) {
	for len(b) >= 8 {
		n := int64(binary.BigEndian.Uint32(b))
		if n < 8 || n > int64(len(b)) || !fn(string(b[4:8]), b[8:n]) {
			return
		}
		b = b[n:]
	}
}

// readMoof reads a fragment's start and length from its one track, in its units:
// tfhd holds the usual duration of a sample, tfdt the start, and trun the
// number of samples and their durations where these differ. (A sample of MOV
// is what the engine made at a time: a picture, or many frames of sound, whose
// number is the length.)
func readMoof(b []byte) (at, length int64, ok bool) {
	var usual int64
	timed := false
	boxes(b, func(kind string, traf []byte) bool {
		if kind != "traf" {
			return true
		}
		boxes(traf, func(kind string, c []byte) bool {
			if len(c) < 4 {
				return true
			}
			flags := binary.BigEndian.Uint32(c) & 0xffffff
			switch kind {
			case "tfhd":
				usual = tfhdDuration(c, flags)
			case "tfdt":
				if c[0] == 1 && len(c) >= 12 {
					at, timed = int64(binary.BigEndian.Uint64(c[4:])), true
				} else if c[0] == 0 && len(c) >= 8 {
					at, timed = int64(binary.BigEndian.Uint32(c[4:])), true
				}
			case "trun":
				length += trunDuration(c, flags, usual)
			}
			return true
		})
		return false
	})
	return at, length, timed && length >= 0 && length < 1<<31 && at > -1<<52 && at < 1<<52
}

func tfhdDuration(c []byte, flags uint32) int64 {
	at := 8
	for _, f := range []struct {
		bit  uint32
		size int
	}{{0x1, 8}, {0x2, 4}} { // base data offset, sample description
		if flags&f.bit != 0 {
			at += f.size
		}
	}
	if flags&0x8 == 0 || len(c) < at+4 {
		return 0
	}
	return int64(binary.BigEndian.Uint32(c[at:]))
}

func trunDuration(c []byte, flags uint32, usual int64) int64 {
	if len(c) < 8 {
		return 0
	}
	n := int64(binary.BigEndian.Uint32(c[4:]))
	if flags&0x100 == 0 {
		return min(n, 1<<20) * usual
	}
	at, step := 8, 0
	for _, bit := range []uint32{0x1, 0x4} { // data offset, first sample's flags
		if flags&bit != 0 {
			at += 4
		}
	}
	for _, bit := range []uint32{0x100, 0x200, 0x400, 0x800} {
		if flags&bit != 0 {
			step += 4
		}
	}
	var sum int64
	for ; n > 0 && at+4 <= len(c); n-- {
		sum += int64(binary.BigEndian.Uint32(c[at:]))
		at += step
	}
	return sum
}

// A placer puts fragments where their times say and hands on blocks without
// holes or overlaps.
type placer struct {
	channels int
	next     int64 // the frame that comes next
	most     int64 // frames there may be
	fn       func([]float32) error
	count    int64     // frames placed
	block    []float32 // gathered for the next call of fn
	silence  []float32
}

// near is how many frames a time may be off from rounding alone.
const near = 2

// take is called by fragments; body holds samples as little-endian float32.
func (p *placer) take(at, frames int64, body []byte) error {
	if frames <= 0 {
		return errFragment
	}
	x := make([]float32, len(body)/4)
	for i := range x {
		x[i] = math.Float32frombits(binary.LittleEndian.Uint32(body[4*i:]))
	}
	x = fitChannels(x, int(int64(len(x))/frames), p.channels)
	frames = int64(len(x) / p.channels)
	if cut := p.next - at; cut > near {
		if cut >= frames {
			return nil
		}
		x = x[cut*int64(p.channels):]
	}
	for gap := at - p.next; gap > near; gap = at - p.next {
		n := min(gap, chunk/4)
		if p.silence == nil {
			p.silence = make([]float32, chunk/4*p.channels)
		}
		clear(p.silence)
		if err := p.hand(p.silence[:n*int64(p.channels)]); err != nil {
			return err
		}
	}
	return p.hand(x)
}

func (p *placer) hand(x []float32) error {
	n := int64(len(x) / p.channels)
	p.next += n
	if p.count += n; p.count > p.most {
		return errEndless
	}
	if p.block = append(p.block, x...); len(p.block) < chunk/4 {
		return nil
	}
	return p.flush()
}

// flush hands on what is gathered.
func (p *placer) flush() error {
	if len(p.block) == 0 {
		return nil
	}
	err := p.fn(p.block)
	p.block = p.block[:0]
	return err
}

// fitChannels makes interleaved samples of have channels into want channels:
// missing ones repeat the last, surplus ones fall away.
func fitChannels(x []float32, have, want int) []float32 {
	if have == want || have <= 0 {
		return x[:len(x)/want*want]
	}
	out := make([]float32, len(x)/have*want)
	for i := range len(x) / have {
		for c := range want {
			out[i*want+c] = x[i*have+min(c, have-1)]
		}
	}
	return out
}
