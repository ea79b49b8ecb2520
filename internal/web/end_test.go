package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"earshot/internal/fault"
)

// The program ends with every kind of stream open, and with a film that nobody
// goes on reading and a file that nobody goes on sending.
func TestEndWithStreams(t *testing.T) {
	rg := newRig(t, Options{})
	rg.fake.release = make(chan struct{})
	if err := os.Truncate(filepath.Join(rg.fake.dir, "C0007.MP4"), 64<<20); err != nil { // more than a connection takes by itself
		t.Fatal(err)
	}
	var open []*http.Response
	for _, path := range []string{fmt.Sprint("/api/events?since=", lessonVersion), "/api/takes/" + c7 + "/listen", "/api/recordings/" + c7 + "/file"} {
		resp, err := rg.browser.Do(rg.request("GET", path, "", nil))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.ReadFull(resp.Body, make([]byte, 1)); err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		open = append(open, resp)
	}
	sender, err := net.Dial("tcp", "127.0.0.1:"+rg.server.port)
	if err != nil {
		t.Fatal(err)
	}
	defer sender.Close()
	fmt.Fprintf(sender, "POST /api/dropped/half.wav HTTP/1.1\r\nHost: 127.0.0.1:%s\r\nCookie: earshot-%s=%s\r\nOrigin: %s\r\nContent-Type: application/octet-stream\r\nContent-Length: 1000\r\n\r\nhalf",
		rg.server.port, rg.server.port, rg.server.token, rg.base)
	for until := time.Now().Add(patience); rg.server.active.Load() < 4; time.Sleep(time.Millisecond) {
		if time.Now().After(until) {
			t.Fatalf("%d requests under way, want 4", rg.server.active.Load())
		}
	}
	rg.stop()
	rg.wait()
	if n := rg.server.active.Load(); n != 0 {
		t.Errorf("%d requests are still under way", n)
	}
	if calls := rg.fake.called(); !slices.Contains(calls, `Drop "half.wav" broke off`) {
		t.Errorf("the desk was not told that the file broke off: %q", calls)
	}
	for _, resp := range open {
		io.Copy(io.Discard, resp.Body) // it ends
		resp.Body.Close()
	}
	if _, err := rg.browser.Get(rg.base); err == nil {
		t.Error("it still answers")
	}
}

// What a person asked for last is done and answered, though the program ends.
func TestEndFinishesWrites(t *testing.T) {
	rg := newRig(t, Options{})
	rg.fake.hold = make(chan struct{})
	answer := make(chan string, 1)
	go func() {
		resp, err := rg.browser.Do(rg.request("POST", "/api/undo", "", nil))
		if err != nil {
			answer <- err.Error()
			return
		}
		defer resp.Body.Close()
		b, _ := io.ReadAll(resp.Body)
		answer <- string(b)
	}()
	<-rg.fake.held
	rg.stop()
	<-rg.server.ending.Done()
	close(rg.fake.hold)
	if got := <-answer; !strings.Contains(got, "approved") {
		t.Errorf("answered %s", got)
	}
	rg.wait()
}

// A request that does not end does not keep the program from ending.
func TestEndWithoutTheStuck(t *testing.T) {
	rg := newRig(t, Options{})
	rg.fake.hold = make(chan struct{})
	gone := make(chan error, 1)
	go func() {
		resp, err := rg.browser.Do(rg.request("POST", "/api/undo", "", nil))
		if err == nil {
			resp.Body.Close()
		}
		gone <- err
	}()
	<-rg.fake.held
	rg.stop()
	rg.wait()
	if err := <-gone; err == nil {
		t.Error("it was answered")
	}
	close(rg.fake.hold)
}

func TestQuit(t *testing.T) {
	rg := newRig(t, Options{})
	l := rg.events(fmt.Sprint("?since=", lessonVersion), nil)
	l.want("retry: 1000")
	if status, _, answer := rg.do("POST", "/api/quit", "", nil); status != 204 || answer != "" {
		t.Errorf("%d %s", status, answer)
	}
	rg.wait()
	l.want()
	l.resp.Body.Close()
	if !slices.Contains(rg.fake.called(), "Quit") {
		t.Error("the desk was not told")
	}
}

func TestNew(t *testing.T) {
	for _, port := range []int{-1, 80, 1023, 65536} {
		if _, err := New(newFake(t), Options{Port: port}); fault.KindOf(err) != fault.Usage {
			t.Errorf("port %d: %v", port, err)
		}
	}
	taken, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	if _, err := New(newFake(t), Options{Port: taken.Addr().(*net.TCPAddr).Port}); fault.KindOf(err) != fault.Unwritable {
		t.Errorf("a port that is taken: %v", err)
	}
	if _, err := New(newFake(t), Options{PageDir: filepath.Join(t.TempDir(), "none")}); fault.KindOf(err) != fault.Unreadable {
		t.Errorf("no page: %v", err)
	}
	s, err := New(newFake(t), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if host := s.from.Addr().(*net.TCPAddr).IP.String(); host != "127.0.0.1" {
		t.Errorf("it listens on %s", host)
	}
	if other := secret(); len(s.token) != 64 || s.token == other {
		t.Errorf("tokens %s and %s", s.token, other)
	}
	ctx, cancel := context.WithCancelCause(t.Context())
	cancel(errors.New("before it began"))
	if err := s.Serve(ctx); err != nil {
		t.Error(err)
	}
}
