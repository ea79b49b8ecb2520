package web

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"earshot/internal/desk"
)

// A listening is a stream of events, line by line.
type listening struct {
	t     *testing.T
	resp  *http.Response
	lines *bufio.Scanner
}

func (rg *rig) events(query string, header map[string]string) *listening {
	rg.t.Helper()
	resp, err := rg.browser.Do(rg.request("GET", "/api/events"+query, "", header))
	if err != nil {
		rg.t.Fatal(err)
	}
	if resp.StatusCode != 200 || resp.Header.Get("Content-Type") != "text/event-stream" || resp.Header.Get("Cache-Control") != "no-store" {
		rg.t.Fatalf("%d %v", resp.StatusCode, resp.Header)
	}
	return &listening{rg.t.(*testing.T), resp, bufio.NewScanner(resp.Body)}
}

// want reads the lines up to the next empty one.
func (l *listening) want(lines ...string) {
	l.t.Helper()
	var got []string
	for l.lines.Scan() && l.lines.Text() != "" {
		got = append(got, l.lines.Text())
	}
	if !slices.Equal(got, lines) {
		l.t.Fatalf("came %q, want %q (%v)", got, lines, l.lines.Err())
	}
}

func patched(version int, all string) []string {
	return []string{fmt.Sprintf("id: %d", version), "event: change", fmt.Sprintf(`data: {"version":%d%s}`, version, all)}
}

func TestEvents(t *testing.T) {
	rg := newRig(t, Options{})
	l := rg.events("", nil)
	l.want("retry: 1000")
	l.want(patched(lessonVersion, `,"all":true`)...)
	rg.fake.grow()
	l.want(patched(lessonVersion+1, "")...)
	l.resp.Body.Close()

	rg.fake.grow() // while nobody listens
	l = rg.events(fmt.Sprint("?since=", lessonVersion), map[string]string{"Last-Event-ID": fmt.Sprint(lessonVersion + 1)})
	l.want("retry: 1000")
	l.want(patched(lessonVersion+2, "")...)
	if !slices.Contains(rg.fake.called(), fmt.Sprint("Changes ", lessonVersion+1)) {
		t.Errorf("resumed from elsewhere: %q", rg.fake.called())
	}
	l.resp.Body.Close()

	l = rg.events(fmt.Sprint("?since=", lessonVersion+5000), nil) // of a run before this one
	l.want("retry: 1000")
	l.want(patched(lessonVersion+2, `,"all":true`)...)
	l.resp.Body.Close()

	for _, last := range []string{"x", "-1", "99999999999999999999"} {
		if status, _, answer := rg.do("GET", "/api/events", "", map[string]string{"Last-Event-ID": last}); status != 400 {
			t.Errorf("Last-Event-ID %s: %d %s", last, status, answer)
		}
	}
}

// Where nothing is new, a comment comes from time to time, and what comes
// after it is not lost.
func TestHeartbeat(t *testing.T) {
	fake := newFake(t)
	s, err := New(fake, Options{})
	if err != nil {
		t.Fatal(err)
	}
	s.beat = time.Millisecond
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx) }()
	rg := &rig{t: t, fake: fake, server: s, base: "http://127.0.0.1:" + s.port, browser: &http.Client{Transport: &http.Transport{}}}
	l := rg.events(fmt.Sprint("?since=", lessonVersion), map[string]string{"Authorization": "Bearer " + s.token})
	l.want("retry: 1000")
	l.want(": nothing new")
	l.want(": nothing new")
	fake.grow()
	for l.lines.Scan() && l.lines.Text() != fmt.Sprint("id: ", lessonVersion+1) {
		if line := l.lines.Text(); line != "" && line != ": nothing new" {
			t.Fatalf("came %q", line)
		}
	}
	l.want("event: change", fmt.Sprintf(`data: {"version":%d}`, lessonVersion+1))
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	l.resp.Body.Close()
}

// A desk that cannot go on breaks the stream off, and the browser comes back
// by itself.
func TestEventsThatFail(t *testing.T) {
	rg := newRig(t, Options{})
	l := rg.events(fmt.Sprint("?since=", lessonVersion), nil)
	l.want("retry: 1000")
	rg.fake.set(func() { rg.fake.err = errors.New("the store is gone") })
	rg.fake.grow()
	if rest, err := io.ReadAll(l.resp.Body); err == nil {
		t.Errorf("ended well, with %q", rest)
	}
	l.resp.Body.Close()
	if !strings.Contains(rg.remarks.String(), "the store is gone") {
		t.Errorf("remarks: %s", rg.remarks)
	}
}

// A desk that tells the same version twice would turn in circles.
func TestEventsInCircles(t *testing.T) {
	rg := newRig(t, Options{})
	l := rg.events(fmt.Sprint("?since=", lessonVersion), nil)
	l.want("retry: 1000")
	rg.fake.set(func() {
		rg.fake.version -= 2
		close(rg.fake.news)
		rg.fake.news = make(chan struct{})
	})
	l.want(patched(lessonVersion-2, `,"all":true`)...)
	l.resp.Body.Close()
	if _, _, err := rg.server.next(t.Context(), 0); err != nil {
		t.Errorf("from nothing: %v", err)
	}
	still := &Server{desk: &stillDesk{rg.fake}, beat: patience}
	if _, _, err := still.next(t.Context(), 5); err == nil {
		t.Error("the same version again is told as news")
	}
}

// A stillDesk says at once that what one knows is new.
type stillDesk struct{ Desk }

func (s *stillDesk) Changes(_ context.Context, since int64) (p desk.Patch, err error) {
	p.Version = since
	return p, nil
}
