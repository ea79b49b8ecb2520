package web

import "net/http"

// listen streams both microphones. The Desk's work stops when the listener
// goes: its context ends, and writing fails.
func (s *Server) listen(w http.ResponseWriter, r *http.Request) error {
	id, err := ident(r, "take")
	if err != nil {
		return err
	}
	ask, err := listenAsk(parse(r))
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	if r.Method == http.MethodHead {
		return nil
	}
	ctx, release := s.untilEnd(w, r)
	defer release()
	control := http.NewResponseController(w)
	var b []byte
	return s.desk.Listen(ctx, id, ask, func(samples []float32) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		b = littleEndian(b[:0], samples)
		if _, err := w.Write(b); err != nil {
			return err
		}
		return control.Flush()
	})
}
