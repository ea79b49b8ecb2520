package web

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"time"

	"earshot/internal/fault"
)

// A Beacon is what a running server writes for a second start of the program
// to find, one file for each shoot's folder, readable only by its owner.
type Beacon struct {
	URL    string `json:"url"` // with the token
	PID    int    `json:"pid"`
	Folder string `json:"folder"` // as realFolder gives it
}

// A Hello is how a server answers a second start.
type Hello struct {
	Earshot string `json:"earshot"` // the program's version
	Folder  string `json:"folder"`
}

// realFolder is a folder's path without links, as far as it can be told.
func realFolder(folder string) string {
	if abs, err := filepath.Abs(folder); err == nil {
		folder = abs
	}
	if real, err := filepath.EvalSymlinks(folder); err == nil {
		return real
	}
	return folder
}

// beaconFile is where the beacon of a shoot's folder lies.
func beaconFile(cacheDir, folder string) string {
	sum := sha256.Sum256([]byte(realFolder(folder)))
	return filepath.Join(cacheDir, "desks", hex.EncodeToString(sum[:16])+".json")
}

// light writes the beacon and returns what takes it away again. A server
// without one works all the same; a second start does not find it.
func (s *Server) light() (remove func()) {
	folder := s.desk.State().Shoot.Folder
	if s.opt.CacheDir == "" || folder == "" {
		return func() {}
	}
	path := beaconFile(s.opt.CacheDir, folder)
	b, err := json.Marshal(Beacon{URL: s.URL(), PID: os.Getpid(), Folder: realFolder(folder)})
	if err == nil {
		err = writeBeacon(path, b)
	}
	if err != nil {
		s.say(fmt.Sprintf("a second start will not find this one: %v", err))
		return func() {}
	}
	return func() {
		if now, err := os.ReadFile(path); err == nil && bytes.Equal(now, b) { // not that of another
			os.Remove(path)
		}
	}
}

// writeBeacon puts a whole file in place, for its owner alone.
func writeBeacon(path string, b []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), "new-*") // made with mode 0600
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		os.Remove(f.Name())
	}
	return err
}

func (s *Server) hello(context.Context, *http.Request) (Hello, error) {
	return Hello{Earshot: s.opt.Version, Folder: realFolder(s.desk.State().Shoot.Folder)}, nil
}

// An Invitation is the answer to a second start that wants to open a browser.
type Invitation struct {
	URL string `json:"url"`
}

func (s *Server) invite(*http.Request) (Invitation, error) { return Invitation{s.Invite()}, nil }

// Another is a server of another process, found by its beacon.
type Another struct {
	Hello Hello
	url   string // with the token
	base  string // http://127.0.0.1:PORT
	token string
}

// How long another server, on this computer, may take to say that it is there,
// and to do what it is asked.
const (
	helloTime = 3 * time.Second
	askTime   = 30 * time.Second
)

// beaconURL is the one form an address in a beacon has.
var beaconURL = regexp.MustCompile(`^(http://127\.0\.0\.1:[0-9]{1,5})/enter\?t=([0-9a-f]{64})$`)

// Find looks for a server that has the shoot in folder open. A beacon that
// nobody answers for is removed.
func Find(ctx context.Context, cacheDir, folder string) (*Another, bool) {
	if cacheDir == "" {
		return nil, false
	}
	path := beaconFile(cacheDir, folder)
	f, info, err := openPlain(path)
	if err != nil {
		return nil, false
	}
	b, err := io.ReadAll(io.LimitReader(f, 64<<10))
	f.Close()
	if err != nil {
		return nil, false
	}
	other, err := askBeacon(ctx, b, realFolder(folder))
	if err == nil {
		return other, true
	}
	var slow net.Error
	if ctx.Err() == nil && !(errors.As(err, &slow) && slow.Timeout()) { // one that is busy is not gone
		if now, err := os.Stat(path); err == nil && os.SameFile(now, info) {
			os.Remove(path)
		}
	}
	return nil, false
}

// askBeacon asks the server a beacon names whether it is that.
func askBeacon(ctx context.Context, b []byte, folder string) (*Another, error) {
	var beacon Beacon
	if err := json.Unmarshal(b, &beacon); err != nil {
		return nil, err
	}
	m := beaconURL.FindStringSubmatch(beacon.URL)
	if m == nil || beacon.Folder != folder {
		return nil, errors.New("the beacon is not that of this folder")
	}
	o := &Another{url: beacon.URL, base: m[1], token: m[2]}
	ctx, cancel := context.WithTimeout(ctx, helloTime)
	defer cancel()
	if err := o.do(ctx, http.MethodGet, "/api/hello", nil, &o.Hello); err != nil {
		return nil, err
	}
	if o.Hello.Folder != folder {
		return nil, errors.New("that server has another folder open")
	}
	return o, nil
}

// URL is the address that lets a browser in, for the person's eyes.
func (o *Another) URL() string { return o.url }

// Add adds files and folders to the shoot that is open there, which begins to
// measure by itself. Paths are absolute.
func (o *Another) Add(ctx context.Context, paths []string) error {
	return o.do(ctx, http.MethodPost, "/api/paths", Paths{Add: paths}, nil)
}

// Invite asks for an address that lets one browser in once.
func (o *Another) Invite(ctx context.Context) (string, error) {
	var i Invitation
	err := o.do(ctx, http.MethodPost, "/api/invite", nil, &i)
	return i.URL, err
}

// neighbour reaches this computer itself, past every proxy, and follows no
// redirect.
var neighbour = &http.Client{
	Transport:     &http.Transport{DisableKeepAlives: true},
	CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
}

func (o *Another) do(ctx context.Context, method, route string, ask, answer any) error {
	b, err := json.Marshal(ask)
	if err != nil {
		return unwritten(err)
	}
	if ask == nil {
		b = nil
	}
	ctx, cancel := context.WithTimeout(ctx, askTime)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, method, o.base+route, bytes.NewReader(b))
	if err != nil {
		return err
	}
	r.Header.Set("Authorization", "Bearer "+o.token)
	r.Header.Set("Origin", o.base)
	r.Header.Set("Content-Type", "application/json")
	resp, err := neighbour.Do(r)
	if err != nil {
		return &fault.Error{Kind: fault.Internal, Op: "reach the desk that is open", Err: err, Hint: "close it and start again"}
	}
	defer resp.Body.Close()
	d := json.NewDecoder(io.LimitReader(resp.Body, maxBody))
	if resp.StatusCode/100 != 2 {
		var t Trouble
		if err := d.Decode(&t); err != nil || t.Error == "" {
			t.Error = "it answers " + resp.Status
		}
		return &fault.Error{Kind: fault.Usage, Op: "ask the desk that is open", Err: errors.New(t.Error), Hint: t.Hint}
	}
	if answer == nil {
		return nil
	}
	return d.Decode(answer)
}
