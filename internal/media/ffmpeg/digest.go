package ffmpeg

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"

	"earshot/internal/fault"
	"earshot/internal/media"
)

// normal says how to bring a codec's packets into a form that does not depend
// on the container. H.264 and HEVC have lengths before their units and
// parameter sets in the header in MOV and MP4; elsewhere start codes, and
// parameter sets and delimiters in the stream. The engine turns lengths into
// start codes, and units that a container may move, repeat or drop without
// touching the picture data (parameter sets, delimiters, ends, filler) are
// left out here. Everything else counts, byte for byte: all slices, and the
// messages beside them.
var normal = map[string]struct {
	filter string // the engine's bitstream filter
	drop   func(first byte) bool
}{
	// Rec. ITU-T H.264, table 7-1: 7 to 12 are sets, delimiter, ends, filler.
	"h264": {"h264_mp4toannexb", func(b byte) bool { t := b & 31; return t >= 7 && t <= 12 }},
	// Rec. ITU-T H.265, table 7-1: 32 to 38 likewise.
	"hevc": {"hevc_mp4toannexb", func(b byte) bool { t := b >> 1 & 63; return t >= 32 && t <= 38 }},
}

// digestWords puts the packets of one picture stream on stdout, one after the
// other.
func digestWords(path string, p media.Picture) []word {
	ws := words("-hide_banner", "-nostdin", "-v", "error", "-copyts")
	ws = append(ws, input(path)...)
	ws = append(ws, words("-map", fmt.Sprintf("0:%d", p.Stream), "-c", "copy", "-copyinkf", "-copypriorss", "1")...)
	if n, ok := normal[p.Codec]; ok {
		ws = append(ws, words("-bsf:v", n.filter)...)
	}
	return append(ws, words("-f", "data", "pipe:1")...)
}

// PictureDigest returns a SHA-256 over the packets of every picture stream:
// the SHA-256 of the streams' own, one after the other.
func (e *Engine) PictureDigest(ctx context.Context, path string) (string, error) {
	const op = "fingerprint pictures"
	info, err := e.Probe(ctx, path)
	if err != nil {
		return "", err
	}
	if !info.HasPicture() {
		return "", &fault.Error{Kind: fault.Unreadable, Op: op, Subject: path, Err: errors.New("it holds no moving pictures")}
	}
	all := sha256.New()
	for _, p := range info.Pictures {
		h := sha256.New()
		u := &units{sum: h, drop: normal[p.Codec].drop}
		res, err := e.run(ctx, job{tool: "ffmpeg", words: digestWords(path, p), stdout: u.take}, "")
		if err != nil {
			return "", settle(op, path, err)
		}
		if res.code != 0 {
			return "", explain(op, path, res, fault.Unreadable)
		}
		u.flush()
		all.Write(h.Sum(nil))
	}
	return hex.EncodeToString(all.Sum(nil)), nil
}

// units hashes a stream of units between start codes (H.264 and H.265, annex
// B), leaving some kinds out. Start codes of three and four bytes, and zeros
// after a unit, count as the same. Without drop it hashes everything as it is.
type units struct {
	sum   hash.Hash
	drop  func(first byte) bool
	zeros int  // zeros seen that may belong to a start code
	fresh bool // the next byte is a unit's first
	skip  bool // the unit is left out
	out   []byte
}

func (u *units) take(b []byte) error {
	if u.drop == nil {
		u.sum.Write(b)
		return nil
	}
	for len(b) > 0 {
		if u.zeros == 0 {
			i := bytes.IndexByte(b, 0)
			if i < 0 {
				i = len(b)
			}
			u.emit(b[:i])
			b = b[i:]
		}
		for len(b) > 0 && b[0] == 0 {
			u.zeros++
			b = b[1:]
		}
		switch {
		case len(b) == 0:
		case u.zeros >= 2 && b[0] == 1:
			u.fresh, u.zeros, b = true, 0, b[1:]
		default:
			n := u.zeros
			for u.zeros = 0; n > 0; n-- {
				u.emit([]byte{0})
			}
			u.emit(b[:1])
			b = b[1:]
		}
	}
	return nil
}

// emit takes bytes of one unit.
func (u *units) emit(b []byte) {
	if len(b) == 0 {
		return
	}
	if u.fresh {
		u.fresh, u.skip = false, u.drop(b[0])
		if !u.skip {
			u.out = append(u.out, 0, 0, 1)
		}
	}
	if u.skip {
		return
	}
	if u.out = append(u.out, b...); len(u.out) >= chunk {
		u.flush()
	}
}

func (u *units) flush() {
	u.sum.Write(u.out)
	u.out = u.out[:0]
}
