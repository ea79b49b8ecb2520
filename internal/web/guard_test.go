package web

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// asked of every route, in one form each.
func everyRoute() []string {
	return []string{
		"GET /", "GET /index.html", "GET /nothing", "GET /api/hello", "POST /api/invite", "GET /api/state", "GET /api/events", "GET /api/takes/" + c7,
		"PATCH /api/takes/" + c7 + "/word", "POST /api/takes/" + c7 + "/measure", "PATCH /api/words", "POST /api/undo", "POST /api/redo", "GET /api/places",
		"GET /api/places?path=/", "POST /api/paths", "POST /api/dropped/a.wav", "POST /api/demo", "GET /api/recordings/" + phone1 + "/peaks",
		"GET /api/recordings/" + phone1 + "/samples", "GET /api/takes/" + c7 + "/mirror", "GET /api/recordings/" + c7 + "/still?at=1",
		"GET /api/recordings/" + c7 + "/strip?at=1", "GET /api/recordings/" + c7 + "/file", "GET /api/recordings/" + c7 + "/picture",
		"POST /api/recordings/" + c7 + "/picture", "GET /api/takes/" + c7 + "/listen", "GET /api/takes/" + c7 + "/loudness", "POST /api/marry",
		"DELETE /api/marry", "GET /api/married/" + c7 + "/file", "GET /api/married/" + c7 + "/picture", "POST /api/reveal", "POST /api/quit",
		"HEAD /api/state", "HEAD /enter", "OPTIONS /api/state", "TRACE /api/state", "PUT /api/state", "POST /enter",
	}
}

func TestEveryRouteIsAsked(t *testing.T) {
	rg := newRig(t, Options{})
	all := strings.Join(everyRoute(), "\n")
	all = strings.NewReplacer(c7, "{id}", phone1, "{id}", "a.wav", "{name}").Replace(all)
	for pattern := range rg.server.table() {
		if pattern != "GET /enter" && !strings.Contains(all, pattern) {
			t.Errorf("%s is missing from the list", pattern)
		}
	}
}

// Whoever is not our page, in our browser, gets nothing: no route reaches the
// desk.
func TestStrangers(t *testing.T) {
	rg := newRig(t, Options{})
	cookie := "earshot-" + rg.server.port + "="
	for name, header := range map[string]map[string]string{
		"no cookie":            {"Cookie": cookie},
		"wrong cookie":         {"Cookie": cookie + strings.Repeat("0", 64)},
		"cookie of other port": {"Cookie": "earshot-1=" + rg.server.token},
		"short cookie":         {"Cookie": cookie + rg.server.token[:63]},
		"long cookie":          {"Cookie": cookie + rg.server.token + "0"},
		"wrong bearer":         {"Authorization": "Bearer " + strings.Repeat("f", 64)},
		"bare bearer":          {"Authorization": "Bearer "},
		"foreign host":         {"Host": "evil.example:" + rg.server.port},
		"host without port":    {"Host": "127.0.0.1"},
		"host of other port":   {"Host": "127.0.0.1:1"},
		"host with more":       {"Host": "127.0.0.1:" + rg.server.port + ".evil.example"},
		"any host":             {"Host": "0.0.0.0:" + rg.server.port},
		"foreign origin":       {"Origin": "http://evil.example"},
		"null origin":          {"Origin": "null"},
		"origin of other port": {"Origin": "http://127.0.0.1:1"},
		"https origin":         {"Origin": "https://127.0.0.1:" + rg.server.port},
		"other of our names":   {"Origin": "http://localhost:" + rg.server.port},
		"cross-site":           {"Sec-Fetch-Site": "cross-site", "Origin": ""},
		"same-site":            {"Sec-Fetch-Site": "same-site"},
		"unheard-of site":      {"Sec-Fetch-Site": "friend"},
	} {
		t.Run(name, func(t *testing.T) {
			rg.fake.set(func() { rg.fake.calls = nil })
			stranger := rg.browser
			if header["Cookie"] != "" || header["Authorization"] != "" {
				stranger = &http.Client{Transport: rg.browser.Transport} // with no cookies of its own
			}
			for _, route := range everyRoute() {
				method, path, _ := strings.Cut(route, " ")
				resp, err := stranger.Do(rg.request(method, path, "", header))
				if err != nil {
					t.Fatal(err)
				}
				b, _ := io.ReadAll(resp.Body)
				resp.Body.Close()
				if resp.StatusCode != http.StatusForbidden || resp.Header.Get("Set-Cookie") != "" || strings.Contains(string(b), rg.server.token) {
					t.Errorf("%s: %d %s", route, resp.StatusCode, b)
				}
			}
			if calls := rg.fake.called(); len(calls) != 0 {
				t.Errorf("the desk was asked %q", calls)
			}
		})
	}
}

// A write needs to say that it is the page's, and its content type.
func TestWritesAreThePagesOwn(t *testing.T) {
	rg := newRig(t, Options{})
	for _, route := range everyRoute() {
		method, path, _ := strings.Cut(route, " ")
		if method == "GET" || method == "HEAD" {
			continue
		}
		rg.fake.set(func() { rg.fake.calls = nil })
		for _, header := range []map[string]string{{"Origin": ""}, {"Origin": "", "Sec-Fetch-Site": "none"}} {
			if status, _, answer := rg.do(method, path, "", header); status != 403 {
				t.Errorf("%s with %v: %d %s", route, header, status, answer)
			}
		}
		for _, kind := range []string{"", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/jsonx", ";", "text/plain; application/json"} {
			if status, _, answer := rg.do(method, path, "", map[string]string{"Content-Type": kind}); status != 415 {
				t.Errorf("%s as %q: %d %s", route, kind, status, answer)
			}
		}
		if calls := rg.fake.called(); len(calls) != 0 {
			t.Errorf("%s: the desk was asked %q", route, calls)
		}
	}
	for _, header := range []map[string]string{{"Origin": "", "Sec-Fetch-Site": "same-origin"}, {"Content-Type": "Application/JSON; charset=utf-8"},
		{"Host": "localhost:" + rg.server.port, "Origin": "http://localhost:" + rg.server.port}} {
		if header["Host"] != "" {
			header["Authorization"] = "Bearer " + rg.server.token // the cookie is of the other name
		}
		if status, _, answer := rg.do("POST", "/api/undo", "", header); status != 200 {
			t.Errorf("with %v: %d %s", header, status, answer)
		}
	}
}

func TestEnter(t *testing.T) {
	rg := newRig(t, Options{})
	stranger := &http.Client{Transport: rg.browser.Transport}
	enter := func(c *http.Client, target string, header map[string]string) (int, []*http.Cookie) {
		t.Helper()
		resp, err := c.Do(rg.request("GET", target, "", header))
		if err != nil {
			t.Fatal(err)
		}
		io.Copy(io.Discard, resp.Body)
		resp.Body.Close()
		return resp.StatusCode, resp.Cookies()
	}
	token := rg.server.token
	for _, bad := range []string{"/enter", "/enter?t=", "/enter?t=" + token[:63], "/enter?t=" + token + "0", "/enter?t=" + strings.ToUpper(token) + "g",
		"/enter?t=" + token + "&t=" + token, "/enter?t=" + token + "&u=1", "/enter?T=" + token, "/enter?t=%zz"} {
		if status, cookies := enter(stranger, bad, nil); status != 403 || len(cookies) != 0 {
			t.Errorf("%s: %d %v", bad, status, cookies)
		}
	}
	for _, header := range []map[string]string{{"Sec-Fetch-Site": "cross-site"}, {"Sec-Fetch-Site": "same-site"}, {"Origin": "http://evil.example"}, {"Host": "evil.example"}} {
		if status, cookies := enter(stranger, rg.server.URL(), header); status != 403 || len(cookies) != 0 {
			t.Errorf("with %v: %d %v", header, status, cookies)
		}
	}
	status, cookies := enter(stranger, rg.server.URL(), map[string]string{"Sec-Fetch-Site": "none"})
	if status != 200 || len(cookies) != 1 {
		t.Fatalf("%d %v", status, cookies)
	}
	if c := cookies[0]; c.Name != "earshot-"+rg.server.port || !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != "/" || c.Domain != "" || len(c.Value) != 64 {
		t.Errorf("the cookie is %s", c)
	}
}

// An invitation lets one browser in, once; whoever is in already is led on.
func TestInvitations(t *testing.T) {
	rg := newRig(t, Options{})
	stranger := &http.Client{Transport: rg.browser.Transport}
	status := func(c *http.Client, url string) int {
		t.Helper()
		resp, err := c.Get(url)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		return resp.StatusCode
	}
	url := rg.server.Invite()
	if strings.Contains(url, rg.server.token) {
		t.Error("an invitation shows the token")
	}
	if got := status(stranger, url); got != 200 {
		t.Errorf("the first time: %d", got)
	}
	if got := status(stranger, url); got != 403 {
		t.Errorf("the second time: %d", got)
	}
	if got := status(rg.browser, url); got != 200 {
		t.Errorf("from a browser that is in: %d", got)
	}
	first := rg.server.Invite()
	for range maxInvites {
		rg.server.Invite()
	}
	if got := status(stranger, first); got != 403 {
		t.Errorf("one of too many: %d", got)
	}
	late := rg.server.Invite()
	rg.server.invites.mu.Lock()
	for i := range rg.server.invites.out {
		rg.server.invites.out[i].till = rg.server.invites.out[i].till.Add(-inviteTime)
	}
	rg.server.invites.mu.Unlock()
	if got := status(stranger, late); got != 403 {
		t.Errorf("too late: %d", got)
	}
}

// raw sends bytes as they are and returns the answer's status; 0 where there
// is none.
//
// A server that does not read what it refuses may reset the connection before
// its answer is read, which says nothing of the answer: then it is asked again.
func raw(t testing.TB, port, request string) (status int, body string) {
	t.Helper()
	for range 3 {
		var reset bool
		if status, body, reset = rawOnce(t, port, request); !reset {
			break
		}
	}
	return status, body
}

func rawOnce(t testing.TB, port, request string) (status int, body string, reset bool) {
	t.Helper()
	c, err := net.Dial("tcp", "127.0.0.1:"+port)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	answered := make(chan struct{})
	defer close(answered)
	go func() {
		io.WriteString(c, request) // a server that has enough closes early
		select {
		case <-answered: // who ends at once is taken for one that has gone
		case <-time.After(60 * time.Millisecond):
			c.(*net.TCPConn).CloseWrite() // a server that waits for more is to see that there is none
		}
	}()
	resp, err := http.ReadResponse(bufio.NewReader(c), nil)
	if err != nil {
		var broken *net.OpError
		return 0, "", errors.As(err, &broken)
	}
	b, _ := io.ReadAll(io.LimitReader(resp.Body, 1<<20))
	resp.Body.Close()
	return resp.StatusCode, string(b), false
}

// No trick with paths gets a file: not encoded, not doubly, not over a link,
// on no route that has a name in it.
func TestPathTricks(t *testing.T) {
	dir := t.TempDir()
	const treasure = "the treasure that lies outside"
	page := filepath.Join(dir, "page")
	for path, text := range map[string]string{"secret.html": treasure, "page/index.html": "the page", "page/test/x.js": treasure, "page/.hidden.js": treasure, "page/notes.txt": treasure} {
		if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, path)), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, path), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink(filepath.Join(dir, "secret.html"), filepath.Join(page, "link.html")); err != nil {
		t.Skip("this system makes no links: ", err)
	}
	if err := os.Symlink(dir, filepath.Join(page, "out")); err != nil {
		t.Fatal(err)
	}
	rg := newRig(t, Options{PageDir: page})
	rg.fake.set(func() { rg.fake.calls = nil })
	tricks := []string{"..", "../secret.html", "%2e%2e", "%2e%2e%2fsecret.html", "..%2fsecret.html", "%252e%252e%252fsecret.html", "..%5csecret.html", `..\secret.html`,
		"....//secret.html", "..;/secret.html", "%c0%ae%c0%ae%c0%afsecret.html", "./../secret.html", "/secret.html", "//secret.html", "/etc/passwd", "%2fetc%2fpasswd",
		"%5c%5cserver%5cshare", `\\server\share`, "C:%5csecret.html", "C:/secret.html", "secret.html%00", "%00", "a%00.html", "link.html", "out/secret.html", "out%2fsecret.html",
		"test/x.js", "test%2fx.js", "./test/x.js", ".hidden.js", "notes.txt", "CON", "nul.html", "index.html::$DATA", "index.html%3a%3a$DATA", "~", "~/secret.html", strings.Repeat("a", 5000), strings.Repeat("../", 1000) + "secret.html",
		strings.Repeat("%2e%2e%2f", 500) + "secret.html", "file:%2f%2f" + dir + "/secret.html", dir + "/secret.html"}
	for _, before := range []string{"/", "/page/", "/api/", "/api/takes/", "/api/recordings/", "/api/married/", "/api/dropped/", "/enter/"} {
		for _, after := range []string{"", "/file", "/picture", "/word", "/peaks"} {
			for _, trick := range tricks {
				for _, method := range []string{"GET", "POST", "PATCH"} {
					kind := "application/json"
					if before == "/api/dropped/" {
						kind = "application/octet-stream"
					}
					target := before + trick + after
					status, body := raw(t, rg.server.port, fmt.Sprintf("%s %s HTTP/1.1\r\nHost: 127.0.0.1:%s\r\nCookie: earshot-%s=%s\r\nOrigin: %s\r\nContent-Type: %s\r\nContent-Length: 2\r\nConnection: close\r\n\r\n{}",
						method, target, rg.server.port, rg.server.port, rg.server.token, rg.base, kind))
					if strings.Contains(body, treasure) || strings.Contains(body, "root:") {
						t.Errorf("%s %.100s: %d %s", method, target, status, body)
					}
					if status < 300 && !(before == "/api/dropped/" && method == "POST" && after == "") {
						t.Errorf("%s %.100s: %d %.100s", method, target, status, body)
					}
				}
			}
		}
	}
	for _, call := range rg.fake.called() {
		if strings.ContainsAny(strings.TrimPrefix(call, "Drop "), `/\`) || strings.Contains(call, "..") {
			t.Errorf("the desk was asked %s", call)
		}
	}
	rg.fake.set(func() {
		for name := range rg.fake.dropped {
			if fileName(name) != nil {
				t.Errorf("dropped under %q", name)
			}
		}
	})
}
