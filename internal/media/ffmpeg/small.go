package ffmpeg

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"strconv"

	"earshot/internal/media"
)

// smallWords makes a small copy of a clip's picture and reports progress on
// stdout. The copy's clock counts microseconds from the clip's zero.
//
// A copy that began later than zero would need an edit list with an empty edit,
// which players treat in their own ways; its first frame is held from zero on
// instead.
func smallWords(info media.Info, req media.Small) []word {
	times := "PTS-round(" + clockTime(info.Zero) + "/TB)"
	if untimed(info) {
		times = "N"
	}
	high := "ih"
	if req.Height > 0 {
		high = fmt.Sprintf("min(%d,ih)", req.Height)
	}
	filters := "setpts='if(eq(N,0),0," + times + ")',scale=h='max(2,2*trunc(" + high + "/2))':w='max(2,2*round(oh*dar/2))':out_range=limited,setsar=1,format=yuv420p"
	ws := words("-hide_banner", "-nostdin", "-v", "error", "-y", "-progress", "pipe:1", "-stats_period", "0.25", "-max_alloc", maxAlloc, "-copyts")
	ws = append(ws, input(req.Path)...)
	ws = append(ws, words("-map", fmt.Sprintf("0:%d", info.Pictures[0].Stream), "-map_metadata", "-1", "-map_chapters", "-1",
		"-vf", filters, "-fps_mode", "passthrough", "-enc_time_base", "1/1000000",
		"-c:v", "libx264", "-preset", "ultrafast", "-profile:v", "baseline", "-crf", "27",
		"-force_key_frames", "expr:if(isnan(prev_forced_t),1,gte(t,prev_forced_t+0.75))",
		"-write_tmcd", "0", "-movflags", "+faststart", "-f", "mp4")...)
	return append(ws, word{req.Out, writes})
}

// Small writes a small copy of a clip's picture.
func (e *Engine) Small(ctx context.Context, req media.Small) error {
	const op = "make a small copy"
	info, err := e.pictured(ctx, op, req.Path, req.Info)
	if err != nil {
		return err
	}
	w := &progress{of: info.Pictures[0].Start + info.Pictures[0].Duration, tell: req.Progress}
	lines := byLine{do: w.line}
	if err := e.write(ctx, op, req.Path, req.Out, job{tool: "ffmpeg", words: smallWords(info, req), stdout: lines.write}); err != nil {
		return err
	}
	if w.frames == 0 {
		os.Remove(req.Out)
		return noFrames(op, req.Path)
	}
	if req.Progress != nil {
		req.Progress(1)
	}
	return nil
}

// progress reads the engine's reports: lines of the form name=value.
type progress struct {
	of     float64 // seconds in all
	frames int     // written
	told   float64
	tell   func(done float64) // may be nil
}

func (p *progress) line(line []byte) error {
	name, value, _ := bytes.Cut(bytes.TrimSpace(line), []byte("="))
	n, err := strconv.ParseInt(string(value), 10, 64)
	if err != nil {
		return nil // not known yet
	}
	switch string(name) {
	case "frame":
		p.frames = int(n)
	case "out_time_us":
		if done := min(1, float64(n)/microseconds/p.of); done > p.told && p.tell != nil {
			p.told = done
			p.tell(done)
		}
	}
	return nil
}
