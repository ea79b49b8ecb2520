package ffmpeg

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"earshot/internal/fault"
	"earshot/internal/media"
)

const (
	warmUp = 2.0 // seconds decoded and thrown away before a window, for codecs that build on what came before
	runIn  = 1.0 // seconds resampled and thrown away, so that a window holds what the whole file would
)

// seekable lists the containers whose time stamps after a seek can be trusted
// to the sample. In the others a window is decoded from the start.
var seekable = []string{"mov", "mp4", "m4a", "3gp", "avi", "mpegts", "wav", "aiff", "caf", "flac"}

// decodeWords asks for one sound stream as float32 in fragments on stdout, first
// sample at req.From. Extra are further input options.
//
// The engine keeps the container's time stamps. Its resampler pads or cuts so
// that the stream begins at the file's zero (or at a whole second before
// From), and fills holes of 100 ms and more; then samples are counted.
func decodeWords(info media.Info, req media.Decode, extra ...string) []word {
	s := info.Sounds[req.Stream]
	rate := req.Rate
	if rate == 0 {
		rate = s.Rate
	}
	base := math.Floor(max(0, req.From-runIn))
	ws := words("-hide_banner", "-nostdin", "-v", "error", "-copyts")
	if base > 0 && slices.Contains(seekable, info.Container) {
		at := strconv.FormatFloat(info.Zero+base-warmUp, 'f', 6, 64)
		ws = append(ws, words("-seek_timestamp", "1", "-noaccurate_seek", "-ss", at)...)
	}
	ws = append(ws, words("-threads", "1")...)
	ws = append(ws, words(extra...)...)
	ws = append(ws, input(req.Path)...)
	return append(ws, words("-map", fmt.Sprintf("0:%d", s.Stream), "-map_metadata", "-1",
		"-af", decodeFilters(s, info.Zero, base, rate, req), "-c:a", "pcm_f32le", "-f", "mov", "-avoid_negative_ts", "disabled",
		"-movflags", "empty_moov+frag_every_frame+default_base_moof+frag_discont+omit_tfhd_offset", "pipe:1")...)
}

// firstFrame returns the engine's time of the first frame decodeWords asks for,
// in frames at the rate asked for.
func firstFrame(info media.Info, req media.Decode) int64 {
	s := info.Sounds[req.Stream]
	rate := req.Rate
	if rate == 0 {
		rate = s.Rate
	}
	base := math.Floor(max(0, req.From-runIn))
	first := firstSample(s, info.Zero, base)
	at := first * int64(rate) / int64(s.Rate)
	if rate != s.Rate {
		at = int64(math.Round(float64(first) * float64(rate) / float64(s.Rate)))
	}
	return at + max(0, samples(req.From-base, rate))
}

func firstSample(s media.Sound, zero, base float64) int64 {
	return int64(math.Round(zero*float64(s.Rate))) + int64(base)*int64(s.Rate)
}

// coarse is the filter for another rate, which serves measuring and not
// listening: half the work of the engine's own. From 48 or 44.1 kHz to 16 kHz it
// is flat to 6 kHz and loses 2 dB at 7 kHz; what is folded back lies 20 dB down at
// 8.5 kHz, 35 dB at 9 kHz and 65 dB from 9.5 kHz on (measured with sines).
const coarse = "filter_size=16:cutoff=0.95:kaiser_beta=6"

func decodeFilters(s media.Sound, zero, base float64, rate int, req media.Decode) string {
	f := []string{fmt.Sprintf("aresample=async=1:min_comp=0.00001:min_hard_comp=0.1:first_pts=%d", firstSample(s, zero, base))}
	if req.Mono && s.Channels > 1 {
		f = append(f, downmix(s.Channels))
	}
	if rate != s.Rate {
		f = append(f, fmt.Sprintf("aresample=%d:%s", rate, coarse))
	}
	var trim []string
	if skip := samples(req.From-base, rate); skip > 0 {
		trim = append(trim, fmt.Sprintf("start_sample=%d", skip))
	}
	if req.To > 0 {
		trim = append(trim, fmt.Sprintf("end_sample=%d", max(0, samples(req.To-base, rate))))
	}
	if trim != nil {
		f = append(f, "atrim="+strings.Join(trim, ":"))
	}
	return strings.Join(f, ",")
}

// downmix gives every one of n channels the weight 1/n.
func downmix(n int) string {
	var b strings.Builder
	b.WriteString("pan=mono|c0=")
	for i := range n {
		if i > 0 {
			b.WriteByte('+')
		}
		fmt.Fprintf(&b, "%.9f*c%d", 1/float64(n), i)
	}
	return b.String()
}

func samples(seconds float64, rate int) int64 { return int64(math.Round(seconds * float64(rate))) }

// Decode calls fn with successive blocks of one sound stream.
func (e *Engine) Decode(ctx context.Context, req media.Decode, fn func(block []float32) error) error {
	const op = "read sound"
	if err := checkInput(op, req.Path); err != nil {
		return err
	}
	if req.Info == nil {
		info, err := e.Probe(ctx, req.Path)
		if err != nil {
			return err
		}
		req.Info = &info
	}
	s, err := sound(op, req.Path, *req.Info, req.Stream)
	if err != nil {
		return err
	}
	if req.To > 0 && req.To <= req.From {
		return nil
	}
	channels := s.Channels
	if req.Mono {
		channels = 1
	}
	f := &placer{channels: channels, next: firstFrame(*req.Info, req), fn: fn}
	in := &fragments{take: f.take}
	j := job{tool: "ffmpeg", words: decodeWords(*req.Info, req, wavOptions(*req.Info, req.Path)...), stdout: in.write}
	res, err := e.run(ctx, j, "")
	if err != nil {
		return settle(op, req.Path, err)
	}
	if err := f.flush(); err != nil {
		return err
	}
	if f.count == 0 && res.code != 0 {
		return explain(op, req.Path, res, fault.Unreadable)
	}
	if f.count == 0 && req.From == 0 {
		return &fault.Error{Kind: fault.Unreadable, Op: op, Subject: req.Path, Err: errors.New("the sound stream holds no sound"),
			Hint: "check that the file is whole and plays"}
	}
	return nil
}
