package ffmpeg

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"sort"
	"strconv"

	"earshot/internal/fault"
	"earshot/internal/media"
)

// AVI says for no picture when it is shown: they are shown one after the
// other, a tick each, but stand in the order in which they are decoded, and
// some need others before their turn (B pictures). A movie says both. So the
// order is asked from a decoder, and the movie's table of delays (ctts, ISO/IEC
// 14496-12, 8.6.1.3) is written from it; the packets stay as they are.

// untimed reports whether a clip's pictures must be timed by retime.
func untimed(info media.Info) bool {
	return info.Container == "avi" && len(info.Pictures) > 0 && info.Pictures[0].Reordered
}

// retime writes into the movie at out when each picture of clip is shown.
func (e *Engine) retime(ctx context.Context, op, clip, out string, picture media.Picture) error {
	turns, err := e.turns(ctx, op, clip, picture.Stream)
	if err == nil {
		err = setDelays(out, turns)
	}
	if errors.Is(err, errMovie) {
		err = &fault.Error{Kind: fault.Unreadable, Op: op, Subject: clip, Err: fmt.Errorf("its pictures are shown in another order than they are stored, and which is not to be found out: %w", err),
			Hint: "copy it into an MP4 or MOV file with another program first"}
	}
	return err
}

// turns returns for each packet of a picture stream, in the order stored, the
// place in which its picture is shown. A packet that shows nothing takes its
// place after the one before it.
func (e *Engine) turns(ctx context.Context, op, clip string, stream int) ([]int, error) {
	var stored, shown []int64
	out := byLine{do: func(line []byte) error {
		kind, rest, _ := bytes.Cut(line, []byte(","))
		text, _, _ := bytes.Cut(rest, []byte(","))
		at, err := strconv.ParseInt(string(text), 10, 64)
		switch {
		case err != nil: // a picture that no packet claims, or side data
		case string(kind) == "packet":
			stored = append(stored, at)
		case string(kind) == "frame":
			shown = append(shown, at)
		}
		return nil
	}}
	ws := words("-v", "error", "-select_streams", strconv.Itoa(stream), "-show_packets", "-show_frames",
		"-show_entries", "packet=pos:frame=pkt_pos", "-of", "csv")
	j := job{tool: "ffprobe", words: append(ws, input(clip)...), again: true, stdout: out.write}
	res, err := e.run(ctx, j, "")
	if err != nil {
		return nil, settle(op, clip, err)
	}
	if res.code != 0 {
		return nil, explain(op, clip, res, fault.Unreadable)
	}
	return turnsOf(stored, shown), nil
}

// turnsOf is turns of the packets' places in the file, in the order stored and
// in the order shown.
func turnsOf(stored, shown []int64) []int {
	turn := make(map[int64]int, len(shown))
	for i, at := range shown {
		turn[at] = i
	}
	type slot struct{ turn, packet int }
	slots := make([]slot, len(stored))
	last := -1
	for i, at := range stored {
		if t, ok := turn[at]; ok {
			last = t
		}
		slots[i] = slot{last, i}
	}
	sort.SliceStable(slots, func(a, b int) bool { return slots[a].turn < slots[b].turn })
	out := make([]int, len(stored))
	for place, s := range slots {
		out[s.packet] = place
	}
	return out
}

// byLine gathers a tool's output into lines.
type byLine struct {
	do   func(line []byte) error
	part []byte
}

// longestLine bounds what is gathered of one.
const longestLine = 1 << 16

func (l *byLine) write(b []byte) error {
	for len(b) > 0 {
		n := bytes.IndexByte(b, '\n')
		if n < 0 {
			if len(l.part)+len(b) > longestLine {
				return errors.New("a line of the media engine's is too long")
			}
			l.part = append(l.part, b...)
			return nil
		}
		if err := l.do(append(l.part, b[:n]...)); err != nil {
			return err
		}
		l.part, b = l.part[:0], b[n+1:]
	}
	return nil
}
