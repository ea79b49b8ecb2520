package web

import (
	"crypto/subtle"
	"mime"
	"net/http"
	"net/url"
	"path"
	"strings"
	"sync"
	"time"
)

// policy lets the page load what this server gives and nothing else.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; " +
	"media-src 'self' blob:; connect-src 'self'; worker-src 'self'; manifest-src 'self'; " +
	"base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// protect sets what every answer carries.
func protect(h http.Header) {
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
}

// admit says whether a request may go on to its route. Whoever comes must
//
//   - name this server as the host, so that a foreign name that was made to
//     lead to this computer gets nothing;
//   - not come from another page: a browser says so in Origin and
//     Sec-Fetch-Site, and pages of other programs on this computer count as
//     another, though cookies do not tell ports apart;
//   - hold the token, as a cookie or, from a second start of the program, as a
//     bearer's word; but for /enter, which looks at it itself;
//   - and who wants to change something must say a content type that no
//     foreign page can send without asking, and that it is this page.
//
// One thing this cannot prevent: a browser shows the cookie to another server
// on 127.0.0.1 when the person visits that one.
func (s *Server) admit(r *http.Request) error {
	if r.URL.Scheme != "" || r.URL.Host != "" || !strings.HasPrefix(r.URL.Path, "/") {
		return &refusal{status: http.StatusBadRequest, text: "the request names no path"}
	}
	if r.Host != "127.0.0.1:"+s.port && r.Host != "localhost:"+s.port {
		return &refusal{status: http.StatusForbidden, text: "the request is for another host"}
	}
	same, err := ours(r)
	if err != nil {
		return err
	}
	if r.URL.Path == "/enter" && r.Method == http.MethodGet {
		return nil
	}
	if !s.holds(r) {
		return &refusal{status: http.StatusForbidden, text: "this browser has not been let in",
			hint: "open the address that earshot shows in the terminal"}
	}
	if p := path.Clean(r.URL.Path); p != r.URL.Path {
		return &refusal{status: http.StatusNotFound, text: "there is no such page"}
	}
	if r.Method == http.MethodGet || r.Method == http.MethodHead {
		if r.ContentLength != 0 { // it would hide that the browser has gone
			return &refusal{status: http.StatusBadRequest, text: "a question has no body"}
		}
		return nil
	}
	if !same {
		return &refusal{status: http.StatusForbidden, text: "only the page itself may change something"}
	}
	return rightType(r)
}

// ours reports whether a request says that it comes from this server's page.
// One that says it comes from elsewhere is refused.
func ours(r *http.Request) (same bool, err error) {
	foreign := &refusal{status: http.StatusForbidden, text: "the request comes from another page"}
	if origins := r.Header.Values("Origin"); len(origins) > 0 {
		if len(origins) > 1 || origins[0] != "http://"+r.Host {
			return false, foreign
		}
		same = true
	}
	sites := r.Header.Values("Sec-Fetch-Site")
	switch {
	case len(sites) == 0:
	case len(sites) == 1 && sites[0] == "same-origin":
		same = true
	case len(sites) == 1 && sites[0] == "none":
	default:
		return false, foreign
	}
	return same, nil
}

// holds reports whether the request carries the token.
func (s *Server) holds(r *http.Request) bool {
	for _, c := range r.CookiesNamed("earshot-" + s.port) {
		if s.isToken(c.Value) {
			return true
		}
	}
	word, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
	return ok && s.isToken(word)
}

func (s *Server) isToken(word string) bool {
	return subtle.ConstantTimeCompare([]byte(word), []byte(s.token)) == 1
}

// rightType wants the content type that fits the route.
func rightType(r *http.Request) error {
	want := "application/json"
	if strings.HasPrefix(r.URL.Path, droppedPath) {
		want = "application/octet-stream"
	}
	got, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || got != want {
		return &refusal{status: http.StatusUnsupportedMediaType, text: "the request's content type is not " + want}
	}
	return nil
}

// goOn is the page that leads on from /enter. The cookie is strict: a browser
// that was led on by a redirect would not send it.
const goOn = `<!doctype html><meta charset="utf-8"><meta http-equiv="refresh" content="0;url=/"><link rel="icon" href="/icon.svg"><title>Earshot</title><p><a href="/">To the desk</a>
`

// enterPage turns the token, or an invitation, into the cookie.
func (s *Server) enterPage(w http.ResponseWriter, r *http.Request) error {
	q, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil || len(q) != 1 || len(q["t"]) != 1 || !s.isToken(q.Get("t")) && !s.holds(r) && !s.invites.take(q.Get("t")) {
		return &refusal{status: http.StatusForbidden, text: "this address does not let anybody in, or no longer",
			hint: "open the address that earshot shows in the terminal"}
	}
	http.SetCookie(w, &http.Cookie{Name: "earshot-" + s.port, Value: s.token, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, err = w.Write([]byte(goOn))
	return err
}

// inviteTime is how long an invitation holds, and maxInvites how many do.
const (
	inviteTime = 2 * time.Minute
	maxInvites = 16
)

// invites are words that let somebody in once.
type invites struct {
	mu  sync.Mutex
	out []invite // the oldest first
}

type invite struct {
	word string
	till time.Time
}

func (i *invites) add() string {
	i.mu.Lock()
	defer i.mu.Unlock()
	word := secret()
	i.out = append(i.out, invite{word, time.Now().Add(inviteTime)})
	if len(i.out) > maxInvites {
		i.out = i.out[1:]
	}
	return word
}

// take uses up an invitation and reports whether there was one.
func (i *invites) take(word string) bool {
	i.mu.Lock()
	defer i.mu.Unlock()
	for n, v := range i.out {
		if subtle.ConstantTimeCompare([]byte(v.word), []byte(word)) == 1 {
			i.out = append(i.out[:n], i.out[n+1:]...)
			return time.Now().Before(v.till)
		}
	}
	return false
}
