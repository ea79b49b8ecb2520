package web

import (
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"earshot/internal/desk"
)

// A maker makes up requests, byte by byte: some that are right, most that are
// bent in one place or several.
type maker struct {
	*rand.Rand
	port, cookie string
}

func (m *maker) one(of ...string) string { return of[m.IntN(len(of))] }

// request is one as it goes over the wire, or something that looks like it.
func (m *maker) request() string {
	if m.IntN(50) == 0 {
		b := make([]byte, m.IntN(2000))
		for i := range b {
			b[i] = byte(m.Uint32())
		}
		return string(b)
	}
	route := m.one(everyRoute()...)
	method, target, _ := strings.Cut(route, " ")
	for m.IntN(3) == 0 {
		method = m.one("GET", "HEAD", "POST", "PATCH", "DELETE", "PUT", "OPTIONS", "TRACE", "CONNECT", "get", "", "G\x00T", "PROPFIND")
	}
	for m.IntN(3) == 0 {
		target = m.bend(target)
	}
	if m.IntN(2) == 0 {
		target += m.one("?", "&", "?t=", "#") + m.query()
	}
	body := m.body()
	var b strings.Builder
	fmt.Fprintf(&b, "%s %s %s\r\n", method, target, m.one("HTTP/1.1", "HTTP/1.1", "HTTP/1.1", "HTTP/1.0", "HTTP/2.0", "HTTP/9", ""))
	if method == "GET" && m.IntN(10) > 0 {
		body = ""
	}
	for _, h := range []string{"Host: 127.0.0.1:" + m.port, "Cookie: " + m.cookie, "Origin: http://127.0.0.1:" + m.port,
		"Content-Type: application/json", fmt.Sprint("Content-Length: ", len(body)), "Connection: close"} {
		switch m.IntN(30) {
		case 0: // left out
		case 1:
			b.WriteString(m.bend(h) + "\r\n")
		case 2:
			b.WriteString(h + "\r\n" + h + "\r\n")
		default:
			b.WriteString(h + "\r\n")
		}
	}
	for m.IntN(2) == 0 {
		b.WriteString(m.one("Range: bytes="+m.query(), "If-None-Match: *", "If-Range: "+m.bend(`"x"`), "Sec-Fetch-Site: "+m.one("none", "same-origin", "cross-site"),
			"Last-Event-ID: "+m.query(), "Transfer-Encoding: chunked", "Expect: 100-continue", "Upgrade: websocket", "X: "+strings.Repeat("x", m.IntN(30000)),
			"Authorization: Bearer "+m.query(), "Content-Encoding: gzip", "If-Modified-Since: "+m.query()) + "\r\n")
	}
	b.WriteString("\r\n" + body)
	if s := b.String(); m.IntN(20) == 0 {
		return s[:m.IntN(len(s))]
	}
	return b.String()
}

// bend changes a text in one place.
func (m *maker) bend(s string) string {
	at := m.IntN(len(s) + 1)
	return s[:at] + m.one("", "/", "//", "/../", "%2f", "%2e%2e", "%00", "%", "\x00", "\n", "é", "\xff", " ", ";", ":", "@", "?", strings.Repeat("A", m.IntN(3000)), s) + s[min(len(s), at+m.IntN(4)):]
}

func (m *maker) query() string {
	return m.one("n", "at", "from", "to", "since", "t", "path", "sound", "level", "track", "w", "offset", "drift", "x") + m.one("=", "", "==", "&") +
		m.one("0", "1", "-1", "NaN", "Inf", "-Inf", "1e309", "1e-400", "0x10", "1_0", "9223372036854775807", "-9223372036854775809", "99999999999999999999999", "1.5", "", "%", "%zz", "/", "/etc/passwd", "..", c7, phone1, "\x00", "0-", "-0", "5-1", "0-0,1-1")
}

func (m *maker) body() string {
	s := m.one("", "{}", "[]", "null", "0", `{"approved":true}`, `{"line":{"offset_s":1,"drift_ppm":2}}`, `{"line":null}`, `{"sound":"`+phone1+`","at_s":1,"sound_s":2}`,
		`{"add":["/data"]}`, `{"what":"married"}`, `{"only":["`+c7+`"]}`, `{"name":"a"}`, strings.Repeat("[", 20000), strings.Repeat(`{"a":`, 5000))
	for m.IntN(3) == 0 {
		s = m.bend(s)
	}
	return s
}

// Ten thousand requests: nothing is served to whoever has not been let in,
// nothing breaks the server, and it answers afterwards.
func TestTenThousandRequests(t *testing.T) {
	const n = 5000
	rg := newRig(t, Options{})
	m := &maker{rand.New(rand.NewPCG(1, 14)), rg.server.port, "earshot-" + rg.server.port + "=" + strings.Repeat("0", 64)}
	rg.fake.set(func() { rg.fake.calls = nil })
	seen := map[int]int{}
	for range n {
		request := m.request()
		status, body := raw(t, rg.server.port, request)
		seen[status]++
		if status != 0 && (status < 400 || status == 500) || strings.Contains(body, rg.server.token) {
			t.Errorf("%.300q: %d %.200q", request, status, body)
		}
	}
	if calls := rg.fake.called(); len(calls) != 0 {
		t.Errorf("the desk was asked %q", calls)
	}
	if seen[403] < n/3 || seen[400] == 0 {
		t.Errorf("the requests do not do what they are for: %v", seen)
	}

	m.cookie = "earshot-" + rg.server.port + "=" + rg.server.token
	clear(seen)
	for range n {
		request := m.request()
		if strings.Contains(request, "quit") {
			continue
		}
		status, body := raw(t, rg.server.port, request)
		seen[status]++
		if status == 500 {
			t.Errorf("%.300q: %d %.200q", request, status, body)
		}
	}
	for _, status := range []int{200, 204, 400, 403, 404, 405} {
		if seen[status] < 20 {
			t.Errorf("the requests do not do what they are for: %v", seen)
		}
	}
	if strings.Contains(rg.remarks.String(), "a mistake") || strings.Contains(rg.remarks.String(), "panic") {
		t.Errorf("remarks: %.2000s", rg.remarks)
	}
	if status, _, _ := rg.do("GET", "/api/state", "", nil); status != 200 {
		t.Errorf("afterwards: %d", status)
	}
}

// FuzzRequest asks anything of a server that holds the cookie: it answers, and
// never with a mistake of its own.
func FuzzRequest(f *testing.F) {
	for _, route := range everyRoute() {
		method, target, _ := strings.Cut(route, " ")
		f.Add(method, target, `{"approved":true}`)
	}
	f.Add("GET", "/api/recordings/x/still?at=NaN", "")
	f.Add("GET", "/api/places?path=%2F..%2Fa", "")
	fake := newFake(f)
	s, err := New(fake, Options{})
	if err != nil {
		f.Fatal(err)
	}
	defer s.from.Close()
	f.Fuzz(func(t *testing.T, method, target, body string) {
		u, err := url.ParseRequestURI(target)
		if err != nil || strings.HasSuffix(u.Path, "/events") || u.Path == "/api/quit" {
			return // a stream without an end; an end without a server
		}
		fake.set(func() { fake.calls = nil })
		r := httptest.NewRequest("GET", "/", strings.NewReader(body))
		r.Method, r.URL, r.Host = method, u, "127.0.0.1:"+s.port
		r.Header.Set("Origin", "http://"+r.Host)
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set("Authorization", "Bearer "+s.token)
		w := httptest.NewRecorder()
		s.ServeHTTP(w, r)
		if w.Code >= 500 {
			t.Errorf("%d %s", w.Code, w.Body)
		}
		if h := w.Header(); h.Get("Content-Security-Policy") != policy || h.Get("Location") != "" {
			t.Errorf("%d %v", w.Code, h)
		}
	})
}

// FuzzAsk reads any query, body and name: what is taken is within its limits.
func FuzzAsk(f *testing.F) {
	f.Add("from=0&to=48000&offset=1.5&drift=-12", `{"line":{"offset_s":1e7,"drift_ppm":0},"refused":["a"]}`, "a.wav")
	f.Add("offset=NaN", `{"line":null,"name":"x"}`, "../a")
	f.Add("to=1;from=0", `{"line":{},"line":[]}`, "CON.mov")
	f.Fuzz(func(t *testing.T, rawQuery, text, name string) {
		r := httptest.NewRequest(http.MethodPatch, "/", strings.NewReader(text))
		r.URL.RawQuery = rawQuery
		if ask, err := listenAsk(parse(r)); err == nil {
			if ask.From < 0 || ask.To != 0 && ask.To <= ask.From || ask.Sound != "" && !isID(ask.Sound) || ask.Line != nil && !(math.Abs(ask.Line.Offset) <= maxTime && math.Abs(ask.Line.Drift) <= maxDrift) {
				t.Errorf("%q is taken as %+v", rawQuery, ask)
			}
		}
		if c, err := change(httptest.NewRecorder(), r); err == nil {
			nothing := c == desk.Change{}
			if nothing && !strings.Contains(text, "null") || c.Sound != nil && *c.Sound != "" && !isID(*c.Sound) ||
				c.Line != nil && *c.Line != nil && !(math.Abs((*c.Line).Offset) <= maxTime && math.Abs((*c.Line).Drift) <= maxDrift) ||
				c.Name != nil && *c.Name != "" && fileName(*c.Name) != nil || c.Refused != nil && slices.ContainsFunc(*c.Refused, func(id string) bool { return !isID(id) }) {
				t.Errorf("%q is taken as %+v", text, c)
			}
		}
		if fileName(name) == nil && (filepath.Base(name) != name || !filepath.IsLocal(name) || !utf8.ValidString(name)) {
			t.Errorf("%q is taken as a name", name)
		}
		if folderPath(name) == nil && (!filepath.IsAbs(name) || strings.HasSuffix(filepath.Clean("/x/y"+name), "/x")) {
			t.Errorf("%q is taken as a path", name)
		}
	})
}
