package web

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"runtime/debug"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"earshot/internal/fault"
)

// The times a connection gets. There is none for writing: a stream and a film
// that is paused are written for as long as they are watched.
const (
	headerTime = 10 * time.Second        // for a request's head
	bodyTime   = 30 * time.Second        // for a JSON body
	idleTime   = 2 * time.Minute         // between requests
	endTime    = 1500 * time.Millisecond // for requests under way when the program ends
	lastTime   = 400 * time.Millisecond  // for those that then are still not done
	maxHeader  = 16 << 10                // bytes of a request's head
)

// A Server serves one Desk on 127.0.0.1 to whoever holds its token.
type Server struct {
	desk    Desk
	opt     Options
	from    net.Listener
	port    string // of 127.0.0.1
	token   string
	invites invites
	page    *pages
	mux     *http.ServeMux
	beat    time.Duration // as beatTime

	ending context.Context // done when the program is to end
	end    context.CancelFunc
	active atomic.Int64 // requests under way
}

// New opens the door: from here on connections wait, and Serve answers them.
func New(d Desk, opt Options) (*Server, error) {
	if opt.Port != 0 && (opt.Port < 1024 || opt.Port > 65535) {
		return nil, &fault.Error{Kind: fault.Usage, Op: "serve the page", Err: fmt.Errorf("port %d is not between 1024 and 65535", opt.Port),
			Hint: "leave it out and a free one is taken"}
	}
	p, err := openPages(opt.PageDir)
	if err != nil {
		return nil, err
	}
	from, err := net.Listen("tcp4", net.JoinHostPort("127.0.0.1", strconv.Itoa(opt.Port)))
	if err != nil {
		return nil, &fault.Error{Kind: fault.Unwritable, Op: "serve the page", Err: err, Hint: "choose another port, or none"}
	}
	s := &Server{desk: d, opt: opt, from: from, token: secret(), page: p, beat: beatTime}
	s.port = strconv.Itoa(from.Addr().(*net.TCPAddr).Port)
	s.ending, s.end = context.WithCancel(context.Background())
	s.mux = s.routes()
	return s, nil
}

// secret is a random word of 256 bits.
func secret() string {
	var b [32]byte
	rand.Read(b[:]) // never fails
	return hex.EncodeToString(b[:])
}

// URL is the address that lets a browser in, as often as it is used. It is for
// the person's eyes; Invite's is for handing to other programs.
func (s *Server) URL() string { return s.enter(s.token) }

// Invite is an address that lets one browser in, once and within two minutes:
// what is written on a command line can be read by everybody on the computer.
func (s *Server) Invite() string { return s.enter(s.invites.add()) }

func (s *Server) enter(word string) string {
	return "http://127.0.0.1:" + s.port + "/enter?t=" + word
}

// Serve answers requests until ctx ends or the page asks to quit. Streams are
// ended then, other requests have a moment to finish; it returns within two
// seconds.
func (s *Server) Serve(ctx context.Context) error {
	defer context.AfterFunc(ctx, s.end)()
	work, cancel := context.WithCancel(context.Background())
	defer cancel()
	srv := &http.Server{
		Handler:           s,
		ReadHeaderTimeout: headerTime,
		IdleTimeout:       idleTime,
		MaxHeaderBytes:    maxHeader,
		BaseContext:       func(net.Listener) context.Context { return work },
		ErrorLog:          log.New(remarks(s.say), "", 0),
	}
	removeBeacon := s.light()
	defer removeBeacon()
	failed := make(chan error, 1)
	go func() { failed <- srv.Serve(s.from) }()
	var err error
	select {
	case err = <-failed:
		s.end()
	case <-s.ending.Done():
	}
	last, release := context.WithTimeout(context.Background(), endTime)
	defer release()
	if srv.Shutdown(last) != nil {
		cancel()
		srv.Close()
		for until := time.Now().Add(lastTime); s.active.Load() > 0 && time.Now().Before(until); {
			time.Sleep(5 * time.Millisecond)
		}
	}
	if err != nil && !errors.Is(err, http.ErrServerClosed) {
		return &fault.Error{Kind: fault.Internal, Op: "serve the page", Err: err, Hint: "start earshot again"}
	}
	return nil
}

func (s *Server) say(line string) {
	if s.opt.Say != nil {
		s.opt.Say(line)
	}
}

// remarks hands what is logged to a function, line by line.
type remarks func(string)

func (r remarks) Write(b []byte) (int, error) {
	r(strings.TrimSuffix(string(b), "\n"))
	return len(b), nil
}

// ServeHTTP answers one request: the guard first, then its route. A panic
// becomes an answer like any other failure.
func (s *Server) ServeHTTP(rw http.ResponseWriter, r *http.Request) {
	s.active.Add(1)
	defer s.active.Add(-1)
	w := &answer{ResponseWriter: rw}
	defer func() {
		p := recover()
		if p == nil {
			return
		}
		if p == http.ErrAbortHandler {
			panic(p)
		}
		s.say(fmt.Sprintf("a mistake in earshot: %v\n%s", p, debug.Stack()))
		s.fail(w, r, &fault.Error{Kind: fault.Internal, Op: "answer the page", Err: fmt.Errorf("%v", p),
			Hint: "this is a mistake in earshot; originals are never written to"})
	}()
	protect(w.Header())
	if err := s.admit(r); err != nil {
		s.fail(w, r, err)
		return
	}
	s.mux.ServeHTTP(w, r)
}

// An answer knows whether it has begun.
type answer struct {
	http.ResponseWriter
	begun bool
}

// WriteHeader implements http.ResponseWriter.
func (a *answer) WriteHeader(status int) {
	a.begun = true
	a.ResponseWriter.WriteHeader(status)
}

func (a *answer) Write(b []byte) (int, error) {
	a.begun = true
	return a.ResponseWriter.Write(b)
}

// ReadFrom lets a file go to the connection without passing through here.
func (a *answer) ReadFrom(r io.Reader) (int64, error) {
	a.begun = true
	return io.Copy(a.ResponseWriter, r)
}

func (a *answer) Unwrap() http.ResponseWriter { return a.ResponseWriter }

// untilEnd is a context that ends with the request and at once when the
// program ends; reading the request and writing the answer then stop too. It
// is for what may take long and can be asked for again.
func (s *Server) untilEnd(w http.ResponseWriter, r *http.Request) (context.Context, func()) {
	ctx, cancel := context.WithCancel(r.Context())
	stop := context.AfterFunc(s.ending, func() {
		cancel()
		c := http.NewResponseController(w)
		soon := time.Now().Add(lastTime)
		c.SetReadDeadline(soon)  // fails where the connection is gone already
		c.SetWriteDeadline(soon) // likewise
	})
	return ctx, func() { stop(); cancel() }
}
