package ffmpeg

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"

	"earshot/internal/fault"
	"earshot/internal/media"
)

// maxAlloc bounds what the engine takes in one piece, in bytes: a leap of time
// stamps over a day would make it gather gigabytes of silence. Where it must do
// without, the times beside the sound tell of the hole.
const maxAlloc = "268435456"

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
	ws := words("-hide_banner", "-nostdin", "-v", "error", "-max_alloc", maxAlloc, "-copyts")
	if base > 0 && slices.Contains(seekable, info.Container) {
		at := strconv.FormatFloat(info.Zero+base-warmUp, 'f', 6, 64)
		ws = append(ws, words("-seek_timestamp", "1", "-noaccurate_seek", "-ss", at)...)
	}
	ws = append(ws, words("-threads", "1")...)
	ws = append(ws, words(extra...)...)
	ws = append(ws, input(req.Path)...)
	ws = append(ws, words("-map", fmt.Sprintf("0:%d", s.Stream), "-map_metadata", "-1",
		"-af", decodeFilters(s, info.Zero, base, rate, req), "-c:a", "pcm_f32le")...)
	return append(ws, fragmented()...)
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
	rate, most := cmp.Or(req.Rate, s.Rate), longest(*req.Info, req.Path)
	if req.To == 0 && s.Start > most {
		return leaps(op, req.Path)
	}
	f := &placer{channels: channels, next: firstFrame(*req.Info, req), most: samples(max(most, req.To), rate), fn: fn}
	in := &fragments{take: f.take}
	j := job{tool: "ffmpeg", words: decodeWords(*req.Info, req, wavOptions(*req.Info, req.Path)...), stdout: in.write}
	res, err := e.run(ctx, j, "")
	if errors.Is(err, errEndless) {
		return leaps(op, req.Path)
	}
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

// errEndless ends a decoding that brings forth more than the file can hold.
var errEndless = errors.New("endless")

func leaps(op, path string) error {
	return &fault.Error{Kind: fault.Unreadable, Op: op, Subject: path,
		Err:  errors.New("its time stamps leap over more than a file of its size can hold"),
		Hint: "copy it from the card again; if it plays, let another program copy it into a new file first"}
}

// longest is the most seconds of sound that a file may hold, by its size: ten
// minutes, and what there is room for at the least bits a second that are met
// (common practice: codecs spend 200 or more on silence, and a camera's picture
// and sound together never less than 4000). Damaged time stamps leap, leaps are
// filled with silence, and without a bound that would go on for hours.
func longest(info media.Info, path string) float64 {
	st, err := os.Stat(path)
	if err != nil {
		return 0 // gone: the engine will say so
	}
	bits := 200.0
	if info.HasPicture() {
		bits = 4000
	}
	return 600 + float64(st.Size())*8/bits
}
