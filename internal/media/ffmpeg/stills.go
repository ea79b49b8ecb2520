package ffmpeg

import (
	"bytes"
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

// Frames are made JPEG pictures by the engine and come out as fragments of a MOV,
// whose times count microseconds, as everything does that is read from ffprobe.
//
// It seeks some way before the window of time that is wanted and decodes from
// there. Where it lands is not to be trusted: a transport stream is cut anywhere,
// and what comes before the first key frame may lack what it builds on. So
// nothing is taken before a key frame has been seen, that frame is handed on too,
// and unless it lies at or before the window the seek was too short and another
// goes farther back.

const (
	microseconds = 1e6
	rounding     = 2e-6 // seconds that two times may differ by from rounding alone
	lifeSign     = 100  // one in so many frames is handed on, wanted or not, so that a long way shows progress
)

// leaping lists the containers whose picture times after a seek are those that
// they have from the start on. In the others frames are counted from the start.
var leaping = []string{"mov", "mp4", "m4a", "3gp", "avi", "mkv", "mpegts"}

// A stretch is a window of time to take frames from, in seconds from zero.
type stretch struct {
	from, to float64 // to +Inf: to the end
	seek     float64 // where to seek to; -Inf: decode from the start
}

// stillsWords asks for the frames in s as fragments.
func stillsWords(info media.Info, req media.Stills, s stretch) []word {
	ws := words("-hide_banner", "-nostdin", "-v", "error", "-max_alloc", maxAlloc, "-copyts")
	pick := fmt.Sprintf("gte(t,%s)+not(mod(n,%d))", clockTime(info.Zero+s.from-rounding), lifeSign)
	if !math.IsInf(s.seek, -1) {
		ws = append(ws, words("-seek_timestamp", "1", "-noaccurate_seek", "-ss", clockTime(info.Zero+s.seek))...)
		pick = "if(ld(0)," + pick + ",st(0,key))"
	}
	filters := ""
	if untimed(info) {
		filters = inTurn(info)
	}
	filters += "select='" + pick + "'"
	if !math.IsInf(s.to, 1) {
		filters += ",trim=end=" + clockTime(info.Zero+s.to)
	}
	wide := "iw*sar"
	if req.Width > 0 {
		wide = fmt.Sprintf("min(%d,iw*sar)", req.Width)
	}
	// JFIF: full range, and the matrix of ITU-R BT.601. Colour is kept at every pixel,
	// since a picture made smaller has some at each.
	filters += ",scale=w='max(1,round(" + wide + "))':h='max(1,round(ow/dar))':out_color_matrix=bt601:out_range=full,setsar=1,format=yuvj444p"
	ws = append(ws, input(req.Path)...)
	ws = append(ws, words("-map", fmt.Sprintf("0:%d", info.Pictures[0].Stream), "-map_metadata", "-1", "-vf", filters,
		"-c:v", "mjpeg", "-qmin", "1", "-q:v", "1", "-intra_matrix", steps, "-chroma_intra_matrix", steps, "-fps_mode", "passthrough", "-enc_time_base", "1/1000000")...)
	return append(ws, fragmented()...)
}

// steps makes each coefficient a whole number of twos (an entry counts in eighths
// at the finest quality): of the noise of a real picture little is lost that the
// usual table, made for what an eye sees from afar, takes away.
var steps = strings.TrimSuffix(strings.Repeat("16,", 64), ",")

// inTurn is the filter that gives frames without times a tick each.
func inTurn(info media.Info) string {
	return "setpts=N+round(" + clockTime(info.Zero) + "/TB),"
}

// clockTime writes seconds as the engine reads them.
func clockTime(seconds float64) string {
	return strconv.FormatFloat(max(-1e9, min(1e9, seconds)), 'f', 6, 64)
}

// A gatherer keeps the frames of one run that may be wanted.
type gatherer struct {
	req    media.Stills
	zero   float64
	from   float64
	first  float64 // time of the first frame that came; +Inf before
	frames []media.Still
}

// take is called by fragments.
func (g *gatherer) take(at, _ int64, body []byte) error {
	t := float64(at)/microseconds - g.zero
	g.first = min(g.first, t)
	if t < g.from-2*rounding {
		return nil
	}
	begun := t <= g.req.At+rounding
	if n := len(g.frames); begun && n > g.req.Before {
		g.frames = slices.Delete(g.frames, 0, n-g.req.Before)
	}
	// The last frame of all is never shown: it says until when the one before is.
	if !begun && len(g.frames)-(g.shows()+1) > g.req.After+1 {
		return nil
	}
	g.frames = append(g.frames, media.Still{At: t, JPEG: bytes.Clone(body)})
	return nil
}

// shows returns which of the frames shows at req.At; -1 when none has begun.
func (g *gatherer) shows() int {
	for i := len(g.frames) - 1; i >= 0; i-- {
		if g.frames[i].At <= g.req.At+rounding {
			return i
		}
	}
	return -1
}

// Stills calls fn with frames around a moment.
func (e *Engine) Stills(ctx context.Context, req media.Stills, fn func(media.Still) error) error {
	const op = "read picture"
	info, err := e.pictured(ctx, op, req.Path, req.Info)
	if err != nil {
		return err
	}
	req.Info = &info
	req.Before, req.After = max(0, req.Before), max(0, req.After)
	if math.IsNaN(req.At) {
		req.At = 0
	}
	g, err := e.search(ctx, op, req)
	if err != nil {
		return err
	}
	p := info.Pictures[0]
	shows := max(0, g.shows())
	for i := max(0, shows-req.Before); i < min(len(g.frames), shows+req.After+1); i++ {
		still := g.frames[i]
		still.Shows = i == shows
		switch end := p.Start + p.Duration; {
		case i+1 < len(g.frames):
			still.Until = g.frames[i+1].At
		case end > still.At+rounding:
			still.Until = end
		default:
			still.Until = still.At + usualFrame(p)
		}
		if err := fn(still); err != nil {
			return err
		}
	}
	return nil
}

// pictured returns what is in path, looking if need be, and fails unless there
// are pictures.
func (e *Engine) pictured(ctx context.Context, op, path string, known *media.Info) (media.Info, error) {
	if err := checkInput(op, path); err != nil {
		return media.Info{}, err
	}
	if known == nil {
		info, err := e.Probe(ctx, path)
		if err != nil {
			return info, err
		}
		known = &info
	}
	if !known.HasPicture() {
		return *known, &fault.Error{Kind: fault.Unreadable, Op: op, Subject: path, Err: errors.New("it holds no moving pictures"),
			Hint: "give a clip"}
	}
	return *known, nil
}

// usualFrame is how long a frame shows, in seconds, as far as one can tell.
func usualFrame(p media.Picture) float64 {
	if r := p.Rate.Float(); r >= 1 && r <= 1000 {
		return 1 / r
	}
	return 1.0 / 25
}

// search widens a window around req.At until the frames asked for are in it or
// it holds all there are. One run is enough where frames come at an even rate
// and key frames not too seldom.
func (e *Engine) search(ctx context.Context, op string, req media.Stills) (*gatherer, error) {
	p := req.Info.Pictures[0]
	end := math.Inf(1)
	if p.Duration > 0 {
		end = p.Start + p.Duration
	}
	at := max(p.Start, min(end, req.At))
	back := 1.1 * float64(req.Before+1) * usualFrame(p)
	ahead := 1.1 * float64(req.After+1) * usualFrame(p)
	lead := 0.1 // seconds sought before the window
	switch {
	case req.Info.Container == "mpegts":
		lead = 1.5
	case p.Reordered:
		lead = 0.3 // containers that count by decoding times lead to a key frame that shows later
	}
	const wider, widest = 6, 400 // times; seconds beyond which everything is decoded
	for {
		s := stretch{from: at - back, to: at + ahead, seek: at - back - lead}
		if back > widest {
			s.from = math.Inf(-1)
		}
		if s.to >= end || ahead > widest {
			s.to = math.Inf(1)
		}
		if s.seek <= p.Start || back > widest || lead > widest || untimed(*req.Info) || !slices.Contains(leaping, req.Info.Container) {
			s.seek = math.Inf(-1)
		}
		g := &gatherer{req: req, zero: req.Info.Zero, from: s.from, first: math.Inf(1)}
		in := &fragments{take: g.take}
		res, err := e.run(ctx, job{tool: "ffmpeg", words: stillsWords(*req.Info, req, s), stdout: in.write}, "")
		if err != nil {
			return nil, settle(op, req.Path, err)
		}
		whole := s.from <= p.Start-rounding && math.IsInf(s.seek, -1) // nothing can lie before
		short := !math.IsInf(s.seek, -1) && g.first > s.from
		few := !whole && g.shows() < req.Before
		ends := !math.IsInf(s.to, 1) && len(g.frames)-max(0, g.shows()) < req.After+2
		switch {
		case short:
			lead *= 8
		case few && ends:
			back, ahead = back*wider, ahead*wider
		case few:
			back *= wider
		case ends:
			ahead *= wider
		case len(g.frames) > 0:
			return g, nil
		case res.code != 0:
			return nil, explain(op, req.Path, res, fault.Unreadable)
		default:
			return nil, noFrames(op, req.Path)
		}
	}
}

func noFrames(op, path string) error {
	return &fault.Error{Kind: fault.Unreadable, Op: op, Subject: path, Err: errors.New("no frame of it can be shown"),
		Hint: "check that the file is whole and plays"}
}
