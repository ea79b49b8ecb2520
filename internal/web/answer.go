package web

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"time"

	"earshot/internal/fault"
)

// A refusal is an error that has a status of its own.
type refusal struct {
	status int
	text   string
	hint   string
}

func (r *refusal) Error() string { return r.text }

// A Trouble is the document of every answer that is none.
type Trouble struct {
	Error string `json:"error"`
	Hint  string `json:"hint"`
}

// status is the one place where failures become HTTP's statuses:
//
//	404  the id, or the file it stands for, is not there
//	400  the request makes no sense as typed          fault.Usage
//	413  a body is larger than it may be
//	422  an input cannot be read, holds nothing of use  fault.Unreadable
//	507  an output cannot be written                  fault.Unwritable
//	502  the media engine is missing, unfit or died   fault.Engine
//	503  stopped, by the person or the program's end  fault.Cancelled
//	500  our own doing                                fault.Internal
//
// A request that its sender gave up has no status that anybody would read.
func status(err error) int {
	var r *refusal
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &r):
		return r.status
	case errors.As(err, &large):
		return http.StatusRequestEntityTooLarge
	case errors.Is(err, fs.ErrNotExist):
		return http.StatusNotFound
	}
	switch fault.KindOf(err) {
	case fault.Usage:
		return http.StatusBadRequest
	case fault.Unreadable:
		return http.StatusUnprocessableEntity
	case fault.Unwritable:
		return http.StatusInsufficientStorage
	case fault.Engine:
		return http.StatusBadGateway
	case fault.Cancelled:
		return http.StatusServiceUnavailable
	}
	return http.StatusInternalServerError
}

// fail answers with what went wrong. Where the answer has begun it is broken
// off, so that nobody takes the part for the whole.
func (s *Server) fail(w *answer, r *http.Request, err error) {
	if w.begun || r.Context().Err() != nil && s.ending.Err() == nil {
		panic(http.ErrAbortHandler)
	}
	t := Trouble{Error: err.Error(), Hint: fault.HintOf(err)}
	var no *refusal
	if errors.As(err, &no) {
		t.Hint = no.hint
	}
	b, err2 := json.Marshal(t)
	if err2 != nil {
		panic(err2) // two strings
	}
	h := w.Header()
	for _, name := range []string{"ETag", "Last-Modified", "Content-Length", "Content-Encoding"} {
		h.Del(name)
	}
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Type", "application/json")
	w.WriteHeader(status(err))
	w.Write(b) // whoever is gone does not miss it
}

// writeJSON answers with a document.
func writeJSON(w http.ResponseWriter, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return unwritten(err)
	}
	w.Header().Set("Content-Type", "application/json")
	_, err = w.Write(b)
	return err
}

func unwritten(err error) error {
	return &fault.Error{Kind: fault.Internal, Op: "write the answer as JSON", Err: err, Hint: "this is a mistake in earshot; originals are never written to"}
}

// done answers a request that has nothing to tell.
func done(w http.ResponseWriter, err error) error {
	if err == nil {
		w.WriteHeader(http.StatusNoContent)
	}
	return err
}

// derived answers with bytes that are the same until something changes: with
// an ETag of their content, ranges, and nothing where the browser has them.
func derived(w http.ResponseWriter, r *http.Request, kind string, b []byte) error {
	sum := sha256.Sum256(b)
	h := w.Header()
	h.Set("ETag", `"`+hex.EncodeToString(sum[:16])+`"`)
	h.Set("Cache-Control", "no-cache")
	h.Set("Content-Type", kind)
	serveContent(w, r, time.Time{}, bytes.NewReader(b))
	return nil
}

// derivedJSON is derived with a document.
func derivedJSON(w http.ResponseWriter, r *http.Request, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return unwritten(err)
	}
	return derived(w, r, "application/json", b)
}

// asked is a handler that answers with what ask gives, as JSON. It ends with
// the program: ask changes nothing.
func asked[T any](s *Server, ask func(ctx context.Context, r *http.Request) (T, error)) handler {
	return func(w http.ResponseWriter, r *http.Request) error {
		ctx, release := s.untilEnd(w, r)
		defer release()
		v, err := ask(ctx, r)
		if err != nil {
			return err
		}
		return writeJSON(w, v)
	}
}

// said is a handler that answers with what do gives, as JSON. What was begun is
// finished.
func said[T any](do func(r *http.Request) (T, error)) handler {
	return func(w http.ResponseWriter, r *http.Request) error {
		v, err := do(r)
		if err != nil {
			return err
		}
		return writeJSON(w, v)
	}
}

// missing is the error about an id that can name nothing.
func missing(what, id string) error {
	return &fault.Error{Kind: fault.Usage, Op: "look up " + what, Subject: id, Err: fmt.Errorf("there is none with this id: %w", fs.ErrNotExist)}
}
