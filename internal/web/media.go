package web

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"earshot/internal/desk"
	"earshot/internal/fault"
)

// kinds are the media types of recordings, by their names' endings. Everything
// else is bytes, which a browser neither shows nor runs.
var kinds = map[string]string{
	".mp4": "video/mp4", ".m4v": "video/mp4", ".mov": "video/quicktime", ".mkv": "video/x-matroska", ".webm": "video/webm",
	".avi": "video/x-msvideo", ".mts": "video/mp2t", ".m2ts": "video/mp2t", ".ts": "video/mp2t", ".mxf": "application/mxf",
	".mpg": "video/mpeg", ".mpeg": "video/mpeg", ".3gp": "video/3gpp",
	".wav": "audio/wav", ".m4a": "audio/mp4", ".mp3": "audio/mpeg", ".flac": "audio/flac", ".ogg": "audio/ogg", ".oga": "audio/ogg",
	".opus": "audio/ogg", ".aac": "audio/aac", ".aif": "audio/aiff", ".aiff": "audio/aiff", ".caf": "audio/x-caf",
}

func kindOf(path string) string {
	if k := kinds[strings.ToLower(filepath.Ext(path))]; k != "" {
		return k
	}
	return "application/octet-stream"
}

// file is a handler that answers with the file that find names.
func (s *Server) file(what string, find func(ctx context.Context, id string) (string, error)) handler {
	return func(w http.ResponseWriter, r *http.Request) error {
		id, err := ident(r, what)
		if err != nil {
			return err
		}
		ctx, release := s.untilEnd(w, r)
		defer release()
		path, err := find(ctx, id)
		switch {
		case errors.Is(err, desk.ErrMaking):
			return notYet(w)
		case err != nil:
			return err
		}
		return serveFile(w, r, path)
	}
}

// notYet answers that something is being made and is to be asked for again.
// Waiting for it would hold one of the few connections that a browser has.
func notYet(w http.ResponseWriter) error {
	h := w.Header()
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Type", "application/json")
	w.WriteHeader(http.StatusAccepted)
	_, err := io.WriteString(w, `{"made":false}`)
	return err
}

// makePicture begins to make a clip's small picture and answers whether it is
// there.
func (s *Server) makePicture(w http.ResponseWriter, r *http.Request) error {
	id, err := ident(r, "recording")
	if err != nil {
		return err
	}
	ctx, release := s.untilEnd(w, r)
	defer release()
	if _, err = s.desk.Picture(ctx, id); errors.Is(err, desk.ErrMaking) {
		return notYet(w)
	}
	return done(w, err)
}

// serveFile answers with a file as it is, in ranges if asked (RFC 9110, 14).
// Its ETag is made of its path, size and time of change.
func serveFile(w http.ResponseWriter, r *http.Request, path string) error {
	f, info, err := openPlain(path)
	if err != nil {
		return &fault.Error{Kind: fault.Unreadable, Op: "read", Subject: filepath.Base(path), Err: fault.Cause(err),
			Hint: "check that the card or disk is still there and that you may read the file"}
	}
	defer f.Close()
	sum := sha256.Sum256(fmt.Appendf(nil, "%d %d %s", info.Size(), info.ModTime().UnixNano(), path))
	h := w.Header()
	h.Set("ETag", `"`+hex.EncodeToString(sum[:16])+`"`)
	h.Set("Cache-Control", "no-cache")
	h.Set("Content-Type", kindOf(path))
	serveContent(w, r, info.ModTime(), f)
	return nil
}

// serveContent is http.ServeContent where it reads RFC 9110, 14 otherwise than
// it is written: a range in another unit than bytes is passed over, and the
// last no bytes cannot be given.
func serveContent(w http.ResponseWriter, r *http.Request, changed time.Time, content io.ReadSeeker) {
	unit, list, _ := strings.Cut(r.Header.Get("Range"), "=")
	if !strings.EqualFold(unit, "bytes") {
		r.Header.Del("Range")
	} else {
		parts := strings.Split(list, ",")
		for i, p := range parts {
			if p = strings.TrimSpace(p); strings.HasPrefix(p, "-0") && strings.Trim(p[1:], "0") == "" {
				parts[i] = fmt.Sprintf("%d-", math.MaxInt64) // past every end
			}
		}
		r.Header.Set("Range", "bytes="+strings.Join(parts, ","))
	}
	http.ServeContent(w, r, "", changed, content)
}

// openPlain opens an ordinary file for reading: opening a pipe would wait for
// somebody to write into it.
func openPlain(path string) (*os.File, os.FileInfo, error) {
	info, err := os.Stat(path)
	if err == nil && !info.Mode().IsRegular() {
		err = errors.New("it is no ordinary file")
	}
	if err != nil {
		return nil, nil, err
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, err
	}
	if info, err = f.Stat(); err == nil && !info.Mode().IsRegular() {
		err = errors.New("it is no ordinary file")
	}
	if err != nil {
		f.Close()
		return nil, nil, err
	}
	return f, info, nil
}
