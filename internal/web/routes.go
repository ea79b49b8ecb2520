package web

import (
	"context"
	"encoding/binary"
	"errors"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"earshot/internal/desk"
	"earshot/internal/fault"
	"earshot/internal/shoot"
)

// A handler answers one route; what it returns is answered in one place.
type handler func(w http.ResponseWriter, r *http.Request) error

// droppedPath is where files that are dropped on the page arrive.
const droppedPath = "/api/dropped/"

// table is every route of docs/desk.md but those of the page's own files.
func (s *Server) table() map[string]handler {
	return map[string]handler{
		"GET /enter":       s.enterPage,
		"GET /api/hello":   asked(s, s.hello),
		"POST /api/invite": said(s.invite),

		"GET /api/state":               asked(s, func(context.Context, *http.Request) (desk.State, error) { return s.desk.State(), nil }),
		"GET /api/events":              s.events,
		"GET /api/takes/{id}":          asked(s, s.detail),
		"PATCH /api/takes/{id}/word":   s.word,
		"PATCH /api/words":             s.words,
		"POST /api/takes/{id}/measure": s.measure,
		"POST /api/undo":               said(func(r *http.Request) (*shoot.Step, error) { return s.desk.Undo(r.Context()) }),
		"POST /api/redo":               said(func(r *http.Request) (*shoot.Step, error) { return s.desk.Redo(r.Context()) }),

		"GET /api/places":          s.places,
		"POST /api/paths":          s.paths,
		"POST /api/dropped/{name}": s.dropped,
		"POST /api/demo":           s.demo,

		"GET /api/recordings/{id}/peaks":    s.peaks,
		"GET /api/recordings/{id}/samples":  s.samples,
		"GET /api/takes/{id}/mirror":        s.mirror,
		"GET /api/recordings/{id}/still":    s.still,
		"GET /api/recordings/{id}/strip":    s.strip,
		"GET /api/recordings/{id}/file":     s.file("recording", func(_ context.Context, id string) (string, error) { return s.desk.File(id) }),
		"GET /api/recordings/{id}/picture":  s.file("recording", s.desk.Picture),
		"POST /api/recordings/{id}/picture": s.makePicture,

		"GET /api/takes/{id}/listen":   s.listen,
		"GET /api/takes/{id}/loudness": asked(s, s.loudness),

		"POST /api/marry":               s.marry,
		"DELETE /api/marry":             s.stopMarrying,
		"GET /api/married/{id}/file":    s.file("take", func(_ context.Context, id string) (string, error) { return s.desk.Married(id) }),
		"GET /api/married/{id}/picture": s.file("take", s.desk.MarriedPicture),
		"POST /api/reveal":              s.reveal,
		"POST /api/quit":                s.quit,
	}
}

func (s *Server) routes() *http.ServeMux {
	mux := http.NewServeMux()
	add := func(pattern string, h handler) {
		mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
			if err := h(w, r); err != nil {
				s.fail(w.(*answer), r, err)
			}
		})
	}
	for pattern, h := range s.table() {
		add(pattern, h)
	}
	add("/", s.elsewhere)
	return mux
}

// elsewhere answers what no route answers: with a file of the page, or saying
// that there is nothing or which methods there are.
func (s *Server) elsewhere(w http.ResponseWriter, r *http.Request) error {
	var may []string
	if !strings.HasPrefix(r.URL.Path, "/api/") {
		if r.Method == http.MethodGet || r.Method == http.MethodHead {
			return s.page.serve(w, r)
		}
		may = append(may, http.MethodGet)
	}
	for _, method := range []string{http.MethodGet, http.MethodPost, http.MethodPatch, http.MethodDelete} {
		other := *r
		other.Method = method
		if _, pattern := s.mux.Handler(&other); pattern != "/" && !slices.Contains(may, method) {
			may = append(may, method)
		}
	}
	if len(may) == 0 {
		return &refusal{status: http.StatusNotFound, text: "there is no such page"}
	}
	w.Header().Set("Allow", strings.Join(may, ", "))
	return &refusal{status: http.StatusMethodNotAllowed, text: "this takes only " + strings.Join(may, ", ")}
}

// takeWith is the take that a request names, and the sound it would be shown
// with, "" as chosen.
func takeWith(r *http.Request) (id, sound string, err error) {
	if id, err = ident(r, "take"); err != nil {
		return "", "", err
	}
	q := parse(r)
	sound = q.id("sound")
	return id, sound, q.end()
}

func (s *Server) detail(ctx context.Context, r *http.Request) (*desk.Detail, error) {
	id, sound, err := takeWith(r)
	if err != nil {
		return nil, err
	}
	return s.desk.Detail(ctx, id, sound)
}

func (s *Server) word(w http.ResponseWriter, r *http.Request) error {
	id, err := ident(r, "take")
	if err != nil {
		return err
	}
	c, err := change(w, r)
	if err != nil {
		return err
	}
	take, err := s.desk.Say(r.Context(), id, c)
	if err != nil {
		return err
	}
	return writeJSON(w, take)
}

func (s *Server) words(w http.ResponseWriter, r *http.Request) error {
	all, err := changes(w, r)
	if err != nil {
		return err
	}
	return done(w, s.desk.SayAll(r.Context(), all))
}

func (s *Server) measure(w http.ResponseWriter, r *http.Request) error {
	id, err := ident(r, "take")
	if err != nil {
		return err
	}
	var ask struct {
		Sound *string  `json:"sound"`
		At    *float64 `json:"at_s"`
		Heard *float64 `json:"sound_s"`
	}
	if err := body(w, r, &ask); err != nil {
		return err
	}
	switch {
	case ask.Sound == nil || ask.At == nil || ask.Heard == nil:
		return bad("the request", "it needs sound, at_s and sound_s")
	case !isID(*ask.Sound):
		return missing("sound", cut(*ask.Sound))
	case math.Abs(*ask.At) > maxTime || math.Abs(*ask.Heard) > maxTime:
		return bad("the request", "a moment is within %g s", maxTime)
	}
	ctx, release := s.untilEnd(w, r)
	defer release()
	found, err := s.desk.Measure(ctx, id, desk.Near{Sound: *ask.Sound, At: *ask.At, Heard: *ask.Heard})
	if err != nil {
		return err
	}
	return writeJSON(w, found)
}

func (s *Server) places(w http.ResponseWriter, r *http.Request) error {
	ctx, release := s.untilEnd(w, r)
	defer release()
	q := parse(r)
	path, one := q.take("path")
	if err := q.end(); err != nil {
		return err
	}
	if !one {
		places, err := s.desk.Places(ctx)
		if err != nil {
			return err
		}
		return writeJSON(w, places)
	}
	if err := folderPath(path); err != nil {
		return err
	}
	folder, err := s.desk.Folder(ctx, path)
	if err != nil {
		return err
	}
	return writeJSON(w, folder)
}

func (s *Server) paths(w http.ResponseWriter, r *http.Request) error {
	var ask Paths
	if err := body(w, r, &ask); err != nil {
		return err
	}
	if len(ask.Add)+len(ask.Remove) == 0 {
		return bad("the request", "it names no path")
	}
	for _, list := range [][]string{ask.Add, ask.Remove} {
		for _, p := range list {
			if err := folderPath(p); err != nil {
				return err
			}
		}
	}
	return done(w, s.desk.Add(r.Context(), ask.Add, ask.Remove))
}

// Paths are those to add to a shoot and to remove.
type Paths struct {
	Add    []string `json:"add"`
	Remove []string `json:"remove,omitempty"`
}

func (s *Server) dropped(w http.ResponseWriter, r *http.Request) error {
	name := r.PathValue("name")
	if err := fileName(name); err != nil {
		return err
	}
	ctx, release := s.untilEnd(w, r)
	defer release()
	return done(w, s.desk.Drop(ctx, name, r.Body))
}

func (s *Server) demo(w http.ResponseWriter, r *http.Request) error {
	ctx, release := s.untilEnd(w, r)
	defer release()
	return done(w, s.desk.Demo(ctx))
}

// The most that one request may ask for.
const (
	maxLevel   = 6
	maxBins    = 65536
	maxSamples = 480000
	maxColumns = 2000
	maxFrames  = 101
	minWidth   = 16 // pixels of a still
	maxWidth   = 3840
	maxTrack   = 63
)

func (s *Server) peaks(w http.ResponseWriter, r *http.Request) error {
	id, err := ident(r, "recording")
	if err != nil {
		return err
	}
	q := parse(r)
	ask := desk.PeaksAsk{
		Track: int(q.whole("track", 0, 0, maxTrack)),
		Level: int(q.whole("level", 0, 0, maxLevel)),
		From:  int(q.whole("from", 0, 0, math.MaxInt32)),
		N:     int(q.whole("n", maxBins, 1, maxBins)),
	}
	if err := q.end(); err != nil {
		return err
	}
	ctx, release := s.untilEnd(w, r)
	defer release()
	p, err := s.desk.Peaks(ctx, id, ask)
	if err != nil {
		return err
	}
	w.Header().Set("Earshot-Bins", strconv.Itoa(p.Of))
	return derived(w, r, "application/octet-stream", p.Bins)
}

func (s *Server) samples(w http.ResponseWriter, r *http.Request) error {
	id, err := ident(r, "recording")
	if err != nil {
		return err
	}
	q := parse(r)
	track, from := int(q.whole("track", 0, 0, maxTrack)), q.whole("from", 0, 0, math.MaxInt64/8)
	n := int(q.whole("n", maxSamples, 1, maxSamples))
	if err := q.end(); err != nil {
		return err
	}
	ctx, release := s.untilEnd(w, r)
	defer release()
	mono, rate, err := s.desk.Samples(ctx, id, track, from, n)
	if err != nil {
		return err
	}
	w.Header().Set("Earshot-Rate", strconv.Itoa(rate))
	return derived(w, r, "application/octet-stream", littleEndian(nil, mono))
}

// littleEndian appends samples as float32, lowest byte first.
func littleEndian(b []byte, samples []float32) []byte {
	for _, x := range samples {
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(x))
	}
	return b
}

func (s *Server) mirror(w http.ResponseWriter, r *http.Request) error {
	id, err := ident(r, "take")
	if err != nil {
		return err
	}
	q := parse(r)
	n := int(q.whole("n", 400, 1, maxColumns))
	if err := q.end(); err != nil {
		return err
	}
	ctx, release := s.untilEnd(w, r)
	defer release()
	b, err := s.desk.Mirror(ctx, id, n)
	if err != nil {
		return err
	}
	return derived(w, r, "application/octet-stream", b)
}

func (s *Server) still(w http.ResponseWriter, r *http.Request) error {
	id, err := ident(r, "recording")
	if err != nil {
		return err
	}
	q := parse(r)
	at, width := q.at(), int(q.whole("w", 640, minWidth, maxWidth))
	if err := q.end(); err != nil {
		return err
	}
	ctx, release := s.untilEnd(w, r)
	defer release()
	b, err := s.desk.Still(ctx, id, at, width)
	if err != nil {
		return err
	}
	return derived(w, r, "image/jpeg", b)
}

func (s *Server) strip(w http.ResponseWriter, r *http.Request) error {
	id, err := ident(r, "recording")
	if err != nil {
		return err
	}
	q := parse(r)
	at, n, width := q.at(), int(q.whole("n", 11, 1, maxFrames)), int(q.whole("w", 240, minWidth, maxWidth))
	if err := q.end(); err != nil {
		return err
	}
	ctx, release := s.untilEnd(w, r)
	defer release()
	strip, err := s.desk.Strip(ctx, id, at, n, width)
	if err != nil {
		return err
	}
	return derivedJSON(w, r, strip)
}

func (s *Server) loudness(ctx context.Context, r *http.Request) (*desk.Loudness, error) {
	id, sound, err := takeWith(r)
	if err != nil {
		return nil, err
	}
	return s.desk.Loudness(ctx, id, sound)
}

func (s *Server) marry(w http.ResponseWriter, r *http.Request) error {
	var ask desk.MarryAsk
	if err := body(w, r, &ask); err != nil {
		return err
	}
	for _, id := range ask.Only {
		if !isID(id) {
			return missing("take", cut(id))
		}
	}
	if ask.To != "" {
		if err := targetPath(ask.To); err != nil {
			return err
		}
	}
	return done(w, s.desk.Marry(r.Context(), ask))
}

func (s *Server) stopMarrying(w http.ResponseWriter, _ *http.Request) error {
	s.desk.StopMarrying()
	return done(w, nil)
}

func (s *Server) reveal(w http.ResponseWriter, r *http.Request) error {
	var ask struct {
		What string `json:"what"`
		Take string `json:"take"`
	}
	if err := body(w, r, &ask); err != nil {
		return err
	}
	switch {
	case (ask.What == "") == (ask.Take == ""):
		return bad("the request", "it needs what or take, one of them")
	case ask.What != "" && ask.What != "married":
		return &fault.Error{Kind: fault.Usage, Op: "reveal", Subject: cut(ask.What), Err: errors.New("only married, or a take, can be revealed")}
	case ask.Take != "" && !isID(ask.Take):
		return missing("take", cut(ask.Take))
	}
	return done(w, s.desk.Reveal(r.Context(), ask.What, ask.Take))
}

// quit ends the program, after the answer.
func (s *Server) quit(w http.ResponseWriter, _ *http.Request) error {
	w.WriteHeader(http.StatusNoContent)
	http.NewResponseController(w).Flush() // whoever is gone does not miss it
	s.desk.Quit()
	s.end()
	return nil
}
