package web

import (
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// Ranges as RFC 9110, section 14, has them; the file holds 1000 bytes.
func TestRanges(t *testing.T) {
	rg := newRig(t, Options{})
	all := string(content("C0007.MP4"))
	path := "/api/recordings/" + c7 + "/file"
	for _, tt := range []struct {
		ask, got string
		status   int
		body     string
	}{
		{"bytes=0-9", "bytes 0-9/1000", 206, all[:10]},
		{"bytes=990-", "bytes 990-999/1000", 206, all[990:]},
		{"bytes=-5", "bytes 995-999/1000", 206, all[995:]},
		{"bytes=-5000", "bytes 0-999/1000", 206, all},
		{"bytes=500-99999", "bytes 500-999/1000", 206, all[500:]},
		{"bytes=0-0", "bytes 0-0/1000", 206, all[:1]},
		{"bytes=1000-", "bytes */1000", 416, ""},
		{"bytes=5-2", "", 416, ""},
		{"bytes=-0", "bytes */1000", 416, ""}, // 14.1.2: unsatisfiable
		{"bytes=-00", "bytes */1000", 416, ""},
		{"bytes=-0, 5-6", "bytes 5-6/1000", 206, all[5:7]},
		{"Bytes=5-6", "bytes 5-6/1000", 206, all[5:7]}, // 14.1: units are not case-sensitive
		{"lines=0-9", "", 200, all},                    // 14.2: a unit not understood is ignored
		{"0-9", "", 200, all},
		{"", "", 200, all},
	} {
		status, h, body := rg.do("GET", path, "", map[string]string{"Range": tt.ask})
		if status != tt.status || h.Get("Content-Range") != tt.got || status < 300 && body != tt.body {
			t.Errorf("%q: %d %q %.40q..., want %d %q", tt.ask, status, h.Get("Content-Range"), body, tt.status, tt.got)
		}
		if status < 300 && (h.Get("Accept-Ranges") != "bytes" || h.Get("Content-Type") != "video/mp4") {
			t.Errorf("%q: %v", tt.ask, h)
		}
	}
	status, h, body := rg.do("GET", path, "", map[string]string{"Range": "bytes=0-4,990-994"})
	kind, params, err := mime.ParseMediaType(h.Get("Content-Type"))
	if status != 206 || kind != "multipart/byteranges" || err != nil {
		t.Fatalf("two ranges: %d %v %v", status, h, err)
	}
	parts := multipart.NewReader(strings.NewReader(body), params["boundary"])
	for _, want := range []string{all[:5], all[990:995]} {
		p, err := parts.NextPart()
		if err != nil {
			t.Fatal(err)
		}
		if b, err := io.ReadAll(p); err != nil || string(b) != want || p.Header.Get("Content-Type") != "video/mp4" {
			t.Errorf("part %q %v, %v; want %q", b, p.Header, err, want)
		}
	}
	if status, _, body := rg.do("GET", path, "", map[string]string{"Range": "bytes=" + strings.Repeat("0-,", 500) + "0-"}); status != 200 || body != all {
		t.Errorf("ranges that hold the file many times over: %d, %d bytes", status, len(body))
	}
}

// What has not changed is not sent again, and a range of what has changed is
// not joined to the old rest.
func TestConditions(t *testing.T) {
	rg := newRig(t, Options{})
	for _, path := range []string{"/api/recordings/" + c7 + "/file", "/api/recordings/" + c7 + "/picture", "/api/married/" + c7 + "/file",
		"/api/recordings/" + phone1 + "/peaks?n=3", "/api/recordings/" + phone1 + "/samples", "/api/takes/" + c7 + "/mirror", "/api/recordings/" + c7 + "/still?at=1",
		"/api/recordings/" + c7 + "/strip?at=1", "/", "/index.html"} {
		status, h, body := rg.do("GET", path, "", nil)
		tag := h.Get("ETag")
		if status != 200 || len(tag) != 34 || tag[0] != '"' || h.Get("Cache-Control") != "no-cache" {
			t.Fatalf("%s: %d, ETag %s, %s", path, status, tag, h.Get("Cache-Control"))
		}
		for _, held := range []string{tag, `"other", ` + tag, "*", "W/" + tag} {
			if status, h, again := rg.do("GET", path, "", map[string]string{"If-None-Match": held}); status != 304 || again != "" || h.Get("ETag") != tag {
				t.Errorf("%s held as %s: %d, %d bytes", path, held, status, len(again))
			}
		}
		if status, _, again := rg.do("GET", path, "", map[string]string{"If-None-Match": `"other"`}); status != 200 || again != body {
			t.Errorf("%s held otherwise: %d", path, status)
		}
		if status, _, part := rg.do("GET", path, "", map[string]string{"Range": "bytes=1-3", "If-Range": tag}); status != 206 || part != body[1:4] {
			t.Errorf("%s, the rest: %d %q", path, status, part)
		}
		if status, _, whole := rg.do("GET", path, "", map[string]string{"Range": "bytes=1-3", "If-Range": `"other"`}); status != 200 || whole != body {
			t.Errorf("%s, the rest of another: %d", path, status)
		}
		if status, _, whole := rg.do("GET", path, "", map[string]string{"Range": "bytes=1-3", "If-Range": "W/" + tag}); status != 200 || whole != body {
			t.Errorf("%s, the rest by a weak tag: %d", path, status)
		}
		if status, h, none := rg.do("HEAD", path, "", nil); status != 200 || none != "" || h.Get("ETag") != tag || h.Get("Content-Length") == "" {
			t.Errorf("HEAD %s: %d %v", path, status, h)
		}
	}
	path := filepath.Join(rg.fake.dir, "C0007.MP4")
	_, before, _ := rg.do("GET", "/api/recordings/"+c7+"/file", "", nil)
	if err := os.Chtimes(path, time.Time{}, time.Unix(1700000000, 7)); err != nil {
		t.Fatal(err)
	}
	_, after, _ := rg.do("GET", "/api/recordings/"+c7+"/file", "", nil)
	if before.Get("ETag") == after.Get("ETag") {
		t.Error("a file that was changed keeps its ETag")
	}
}

func TestKinds(t *testing.T) {
	for path, want := range map[string]string{"/a/C0007.MP4": "video/mp4", "a.Mov": "video/quicktime", "a.m4a": "audio/mp4", "a.WAV": "audio/wav",
		"a.MTS": "video/mp2t", "a.html": "application/octet-stream", "a.svg": "application/octet-stream", "a": "application/octet-stream", "a.js": "application/octet-stream"} {
		if got := kindOf(path); got != want {
			t.Errorf("%s is %s, want %s", path, got, want)
		}
	}
}

// What is no ordinary file, or gone, is an answer and holds nobody up.
func TestFilesThatAreNone(t *testing.T) {
	rg := newRig(t, Options{})
	path := filepath.Join(rg.fake.dir, "C0007.MP4")
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	for want, make := range map[int]func() error{
		404: func() error { return nil },
		422: func() error { return os.Mkdir(path, 0o777) },
	} {
		os.Remove(path)
		if err := make(); err != nil {
			t.Fatal(err)
		}
		status, _, answer := rg.do("GET", "/api/recordings/"+c7+"/file", "", nil)
		if status != want || !strings.Contains(answer, `read \"C0007.MP4\"`) || strings.Contains(answer, rg.fake.dir) {
			t.Errorf("%d %s, want %d", status, answer, want)
		}
	}
	os.Remove(path)
	if makePipe(path) == nil {
		if status, _, answer := rg.do("GET", "/api/recordings/"+c7+"/file", "", nil); status != 422 {
			t.Errorf("a pipe: %d %s", status, answer)
		}
	}
}

// A listener who goes stops the desk's work; a file that breaks off does not
// end as if it were whole.
func TestListening(t *testing.T) {
	rg := newRig(t, Options{})
	rg.fake.release = make(chan struct{})
	open := func() *http.Response {
		resp, err := rg.browser.Do(rg.request("GET", "/api/takes/"+c7+"/listen", "", nil))
		if err != nil {
			t.Fatal(err)
		}
		first := make([]byte, 16)
		if _, err := io.ReadFull(resp.Body, first); err != nil || string(first) != listened()[:16] {
			t.Fatalf("the first block does not come by itself: %q, %v", first, err)
		}
		return resp
	}
	open().Body.Close()
	select {
	case err := <-rg.fake.stopped:
		if err == nil {
			t.Error("the desk went on to the end")
		}
	case <-time.After(patience):
		t.Fatal("the desk plays to nobody")
	}
	resp := open()
	close(rg.fake.release)
	if rest, err := io.ReadAll(resp.Body); err == nil {
		t.Errorf("a take that broke off ended well, with %d more bytes", len(rest))
	}
	resp.Body.Close()
	if status, h, body := rg.do("HEAD", "/api/takes/"+c7+"/listen", "", nil); status != 200 || body != "" || h.Get("Content-Type") != "application/octet-stream" {
		t.Errorf("HEAD: %d %v", status, h)
	}
}

// A small picture that is being made holds no connection: the answer is that it
// is not there yet.
func TestSmallPictureIsNotWaitedFor(t *testing.T) {
	rg := newRig(t, Options{})
	rg.fake.set(func() { rg.fake.making = true })
	for _, method := range []string{"GET", "POST"} {
		status, h, answer := rg.do(method, "/api/recordings/"+c7+"/picture", "", nil)
		if status != http.StatusAccepted || answer != `{"made":false}` || h.Get("Cache-Control") != "no-store" || h.Get("Content-Type") != "application/json" {
			t.Errorf("%s: %d %q %v", method, status, answer, h)
		}
	}
	rg.fake.set(func() { rg.fake.making = false })
	if status, _, answer := rg.do("GET", "/api/recordings/"+c7+"/picture", "", nil); status != http.StatusOK || answer != string(content("small.mp4")) {
		t.Errorf("made: %d %.40q", status, answer)
	}
}
