package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"time"

	"earshot/internal/fault"
)

// The pace of a stream of events.
const (
	beatTime = 15 * time.Second // of nothing new, then a comment goes out
	slowTime = 10 * time.Second // for a browser to take an event; one that does not is let go
)

// events tells what changes, as server-sent events (WHATWG HTML, 9.2), until
// the browser goes or the program ends. A browser that lost the connection
// comes back with the last version it had.
func (s *Server) events(w http.ResponseWriter, r *http.Request) error {
	since, err := sinceWhen(r)
	if err != nil {
		return err
	}
	ctx, release := s.untilEnd(w, r)
	defer release()
	w.Header().Set("Content-Type", "text/event-stream")
	out := &eventWriter{w: w, control: http.NewResponseController(w)}
	defer out.control.SetWriteDeadline(time.Time{})
	if err := out.write("retry: 1000\n\n"); err != nil || r.Method == http.MethodHead {
		return err
	}
	for {
		event, version, err := s.next(ctx, since)
		switch {
		case ctx.Err() != nil:
			return nil
		case err != nil:
			s.say(fmt.Sprintf("the page is told nothing more: %v", err))
			return err
		case event == "":
			err = out.write(": nothing new\n\n")
		default:
			since = version
			err = out.write(event)
		}
		if err != nil {
			return err
		}
	}
}

// next waits for a patch and returns it as an event; "" when nothing came for
// a while.
func (s *Server) next(ctx context.Context, since int64) (event string, version int64, err error) {
	wait, cancel := context.WithTimeout(ctx, s.beat)
	defer cancel()
	p, err := s.desk.Changes(wait, since)
	switch {
	case wait.Err() != nil && err != nil:
		return "", since, nil
	case err != nil:
		return "", 0, err
	case p.Version == since || p.Version < since && !p.All:
		return "", 0, &fault.Error{Kind: fault.Internal, Op: "tell what changed", Err: fmt.Errorf("version %d came after %d", p.Version, since)}
	}
	b, err := json.Marshal(p)
	if err != nil {
		return "", 0, unwritten(err)
	}
	return fmt.Sprintf("id: %d\nevent: change\ndata: %s\n\n", p.Version, b), p.Version, nil
}

// sinceWhen is the version a browser knows: the one it says when it comes back,
// else the one in the address, else none.
func sinceWhen(r *http.Request) (int64, error) {
	q := parse(r)
	since := q.whole("since", 0, 0, 1<<62)
	if err := q.end(); err != nil {
		return 0, err
	}
	last := r.Header.Get("Last-Event-ID")
	if last == "" {
		return since, nil
	}
	v, err := strconv.ParseInt(last, 10, 64)
	if err != nil || v < 0 {
		return 0, bad("Last-Event-ID", "%s is no version", fault.Quote(cut(last)))
	}
	return v, nil
}

// An eventWriter sends each event at once.
type eventWriter struct {
	w       http.ResponseWriter
	control *http.ResponseController
}

func (e *eventWriter) write(event string) error {
	e.control.SetWriteDeadline(time.Now().Add(slowTime)) // where it fails, so does writing
	if _, err := e.w.Write([]byte(event)); err != nil {
		return err
	}
	return e.control.Flush()
}
