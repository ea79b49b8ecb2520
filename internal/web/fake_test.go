package web

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/http/cookiejar"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"earshot/internal/desk"
	"earshot/internal/fault"
	"earshot/internal/shoot"
)

// A fakeDesk is the lesson in memory. Its files lie in dir.
type fakeDesk struct {
	dir string

	mu      sync.Mutex
	calls   []string      // what was asked, with the arguments
	err     error         // what everything answers, if not nil
	panics  string        // what everything panics with, if not ""
	version int64         // of the newest patch
	news    chan struct{} // closed when version grows
	dropped map[string][]byte
	release chan struct{} // Listen waits for it after its first block, if not nil
	stopped chan error    // what Listen's context or fn said when it ended
	state   *desk.State   // instead of the lesson
	making  bool          // the small picture is not there yet
	hold    chan struct{} // Undo waits for it, whatever its context says, if not nil
	held    chan struct{} // told when Undo waits
}

func newFake(t testing.TB) *fakeDesk {
	f := &fakeDesk{dir: t.TempDir(), version: lessonVersion, news: make(chan struct{}), dropped: map[string][]byte{}, stopped: make(chan error, 8), held: make(chan struct{}, 8)}
	for _, name := range []string{"C0007.MP4", "rec.m4a", "small.mp4", "C0007_married.mov", "small_married.mp4"} {
		if err := os.WriteFile(filepath.Join(f.dir, name), content(name), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return f
}

// content is what the fake's file of a name holds: 1000 bytes that tell where
// they are.
func content(name string) []byte {
	var b bytes.Buffer
	for i := 0; b.Len() < 1000; i++ {
		fmt.Fprintf(&b, "%s %d\n", name, i)
	}
	return b.Bytes()[:1000]
}

func (f *fakeDesk) call(format string, args ...any) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.calls = append(f.calls, fmt.Sprintf(format, args...))
	if f.panics != "" {
		panic(f.panics)
	}
	return f.err
}

func (f *fakeDesk) called() []string {
	f.mu.Lock()
	defer f.mu.Unlock()
	return slices.Clone(f.calls)
}

// set changes the fake under its lock.
func (f *fakeDesk) set(change func()) {
	f.mu.Lock()
	defer f.mu.Unlock()
	change()
}

// grow makes a newer version known.
func (f *fakeDesk) grow() {
	f.set(func() {
		f.version++
		close(f.news)
		f.news = make(chan struct{})
	})
}

func (f *fakeDesk) State() desk.State {
	f.call("State")
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.state != nil {
		return *f.state
	}
	return lessonState()
}

func (f *fakeDesk) Changes(ctx context.Context, since int64) (desk.Patch, error) {
	if err := f.call("Changes %d", since); err != nil {
		return desk.Patch{}, err
	}
	for {
		f.mu.Lock()
		version, news, err := f.version, f.news, f.err
		f.mu.Unlock()
		if err != nil {
			return desk.Patch{}, err
		}
		if since != version {
			return desk.Patch{Version: version, All: since == 0 || since > version}, nil
		}
		select {
		case <-ctx.Done():
			return desk.Patch{}, ctx.Err()
		case <-news:
		}
	}
}

func (f *fakeDesk) Detail(_ context.Context, take, sound string) (*desk.Detail, error) {
	if err := f.call("Detail %s %q", take, sound); err != nil {
		return nil, err
	}
	d := lessonDetail()
	return &d, known(take, lessonDetail().Take.ID)
}

// known is the desk's error about an id that is none of these.
func known(id string, ids ...string) error {
	if slices.Contains(ids, id) {
		return nil
	}
	return &fault.Error{Kind: fault.Usage, Op: "look up", Subject: id, Err: fs.ErrNotExist}
}

func (f *fakeDesk) Say(_ context.Context, take string, c desk.Change) (*desk.Take, error) {
	line := "as it was"
	if c.Line != nil {
		line = fmt.Sprint(*c.Line)
		if *c.Line != nil {
			line = fmt.Sprint(**c.Line)
		}
	}
	if err := f.call("Say %s approved=%s sound=%s line=%s refused=%s name=%s note=%s", take, given(c.Approved), given(c.Sound), line, given(c.Refused), given(c.Name), given(c.Note)); err != nil {
		return nil, err
	}
	if take == c10 {
		return nil, nil // has no take any more
	}
	return ptr(lessonTakes()[0]), known(take, c7)
}

func (f *fakeDesk) SayAll(_ context.Context, all []desk.Saying) error {
	var said []string
	for _, s := range all {
		said = append(said, fmt.Sprintf("%s approved=%s note=%s", s.Take, given(s.Change.Approved), given(s.Change.Note)))
	}
	return f.call("SayAll %q", said)
}

func given[T any](v *T) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprint(*v)
}

func (f *fakeDesk) Undo(context.Context) (*shoot.Step, error) {
	if f.hold != nil {
		f.held <- struct{}{}
		<-f.hold
	}
	return &shoot.Step{Label: "approved", Clip: c8}, f.call("Undo")
}

func (f *fakeDesk) Redo(context.Context) (*shoot.Step, error) { return nil, f.call("Redo") }

func (f *fakeDesk) Measure(_ context.Context, take string, near desk.Near) (*desk.Nearby, error) {
	return &desk.Nearby{Why: "nothing was heard there"}, f.call("Measure %s %v", take, near)
}

func (f *fakeDesk) Places(context.Context) (*desk.Places, error) {
	return ptr(lessonPlaces()), f.call("Places")
}

func (f *fakeDesk) Folder(_ context.Context, path string) (*desk.Folder, error) {
	return ptr(lessonInside()), f.call("Folder %q", path)
}

func (f *fakeDesk) Add(_ context.Context, add, remove []string) error {
	return f.call("Add %q %q", add, remove)
}

func (f *fakeDesk) Drop(_ context.Context, name string, r io.Reader) error {
	b, err := io.ReadAll(r)
	if err != nil {
		f.call("Drop %q broke off", name)
		return &fault.Error{Kind: fault.Unwritable, Op: "take in", Subject: name, Err: err}
	}
	f.set(func() { f.dropped[name] = b })
	return f.call("Drop %q", name)
}

func (f *fakeDesk) Demo(context.Context) error { return f.call("Demo") }

func (f *fakeDesk) Peaks(_ context.Context, id string, ask desk.PeaksAsk) (desk.Peaks, error) {
	if err := f.call("Peaks %s %v", id, ask); err != nil {
		return desk.Peaks{}, err
	}
	return desk.Peaks{Bins: bytes.Repeat([]byte{1, 128, 255, 127, 9, 0}, min(ask.N, 7)), Of: 7}, known(id, phone1)
}

func (f *fakeDesk) Samples(_ context.Context, id string, track int, from int64, n int) ([]float32, int, error) {
	return []float32{0, 0.5, -1}, 44100, f.call("Samples %s %d %d %d", id, track, from, n)
}

func (f *fakeDesk) Mirror(_ context.Context, take string, n int) ([]byte, error) {
	return bytes.Repeat([]byte{9, 4, 7, 3}, n), f.call("Mirror %s %d", take, n)
}

func (f *fakeDesk) Still(_ context.Context, id string, at float64, width int) ([]byte, error) {
	return lessonFrame(3), f.call("Still %s %g %d", id, at, width)
}

func (f *fakeDesk) Strip(_ context.Context, id string, at float64, n, width int) (*desk.Strip, error) {
	return ptr(lessonStrip()), f.call("Strip %s %g %d %d", id, at, n, width)
}

func (f *fakeDesk) found(name, id string, ids ...string) (string, error) {
	if err := f.call("%s %s", name, id); err != nil {
		return "", err
	}
	return filepath.Join(f.dir, name), known(id, ids...)
}

func (f *fakeDesk) File(id string) (string, error) {
	if id == phone1 {
		return f.found("rec.m4a", id, phone1)
	}
	return f.found("C0007.MP4", id, c7)
}

func (f *fakeDesk) Picture(_ context.Context, id string) (string, error) {
	path, err := f.found("small.mp4", id, c7)
	if f.making && err == nil {
		return "", desk.ErrMaking
	}
	return path, err
}
func (f *fakeDesk) Married(id string) (string, error) { return f.found("C0007_married.mov", id, c7) }
func (f *fakeDesk) MarriedPicture(_ context.Context, id string) (string, error) {
	return f.found("small_married.mp4", id, c7)
}

func (f *fakeDesk) Listen(ctx context.Context, take string, ask desk.ListenAsk, fn func([]float32) error) error {
	line := "as laid"
	if ask.Line != nil {
		line = fmt.Sprint(*ask.Line)
	}
	if err := f.call("Listen %s %d %d %q %s", take, ask.From, ask.To, ask.Sound, line); err != nil {
		return err
	}
	if err := known(take, c7); err != nil {
		return err
	}
	f.mu.Lock()
	release := f.release
	f.mu.Unlock()
	for i := range 3 {
		if err := fn([]float32{float32(i), -float32(i), 0.25, -0.25}); err != nil {
			f.stopped <- err
			return err
		}
		if release == nil {
			continue
		}
		select {
		case <-ctx.Done():
			f.stopped <- ctx.Err()
			return ctx.Err()
		case <-release:
			return errors.New("the file broke off")
		}
	}
	return nil
}

func (f *fakeDesk) Loudness(_ context.Context, take, sound string) (*desk.Loudness, error) {
	return &desk.Loudness{Body: ptr(-21.5), Whole: true}, f.call("Loudness %s %q", take, sound)
}

func (f *fakeDesk) Marry(_ context.Context, ask desk.MarryAsk) error {
	return f.call("Marry to=%q sound=%q unsure=%v only=%v distance=%s", ask.To, ask.Sound, ask.Unsure, ask.Only, given(ask.Distance))
}
func (f *fakeDesk) StopMarrying() { f.call("StopMarrying") }
func (f *fakeDesk) Reveal(_ context.Context, what, take string) error {
	return f.call("Reveal %q %q", what, take)
}
func (f *fakeDesk) Quit() { f.call("Quit") }

// A rig is a server at work, with a browser that was let in.
type rig struct {
	t       testing.TB
	fake    *fakeDesk
	server  *Server
	base    string
	browser *http.Client
	stop    func()     // ends the server as Ctrl-C does
	ended   chan error // what Serve returned
	remarks *lines
}

// lines are remarks.
type lines struct {
	mu  sync.Mutex
	all []string
}

func (l *lines) add(s string) { l.mu.Lock(); defer l.mu.Unlock(); l.all = append(l.all, s) }
func (l *lines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Join(l.all, "\n")
}

// patience is how long a test waits for what should happen at once, before it
// says that it hangs.
const patience = 30 * time.Second

func newRig(t testing.TB, opt Options) *rig { return newRigOf(t, opt, func(*fakeDesk) {}) }

// newRigOf is newRig with a desk that is changed beforehand.
func newRigOf(t testing.TB, opt Options, change func(*fakeDesk)) *rig {
	t.Helper()
	before := runtime.NumGoroutine()
	rg := &rig{t: t, fake: newFake(t), ended: make(chan error, 1), remarks: &lines{}}
	change(rg.fake)
	opt.Say = rg.remarks.add
	s, err := New(rg.fake, opt)
	if err != nil {
		t.Fatal(err)
	}
	rg.server, rg.base = s, "http://127.0.0.1:"+s.port
	ctx, cancel := context.WithCancel(context.Background())
	rg.stop = cancel
	go func() { rg.ended <- s.Serve(ctx) }()
	jar, _ := cookiejar.New(nil)                                                              // never fails
	rg.browser = &http.Client{Jar: jar, Transport: &http.Transport{DisableCompression: true}} // ranges are of what is sent
	t.Cleanup(func() {
		cancel()
		rg.wait()
		rg.browser.CloseIdleConnections()
		noneLeft(t, before)
	})
	if status, _, body := rg.do("GET", s.URL(), "", nil); status != 200 || !strings.Contains(body, `content="0;url=/"`) {
		t.Fatalf("entering: %d %s", status, body)
	}
	return rg
}

// wait waits for Serve to return.
func (rg *rig) wait() {
	rg.t.Helper()
	select {
	case err := <-rg.ended:
		rg.ended <- err
		if err != nil {
			rg.t.Errorf("Serve: %v", err)
		}
	case <-time.After(patience):
		rg.t.Fatal("the server does not end")
	}
}

// noneLeft waits until no more goroutines run than before.
func noneLeft(t testing.TB, before int) {
	t.Helper()
	for until := time.Now().Add(patience); runtime.NumGoroutine() > before; time.Sleep(5 * time.Millisecond) {
		if time.Now().After(until) {
			stacks := make([]byte, 1<<20)
			t.Errorf("%d goroutines, %d before:\n%s", runtime.NumGoroutine(), before, stacks[:runtime.Stack(stacks, true)])
			return
		}
	}
}

// request is one as the page makes it.
func (rg *rig) request(method, target, body string, header map[string]string) *http.Request {
	rg.t.Helper()
	if strings.HasPrefix(target, "/") {
		target = rg.base + target
	}
	r, err := http.NewRequest(method, target, strings.NewReader(body))
	if err != nil {
		rg.t.Fatal(err)
	}
	if method != "GET" && method != "HEAD" {
		r.Header.Set("Origin", rg.base)
		r.Header.Set("Content-Type", "application/json")
	}
	r.Header.Set("Accept-Encoding", "identity") // else Go's client asks for gzip, but not of a range
	for k, v := range header {
		r.Header.Set(k, v)
		if v == "" {
			r.Header.Del(k)
		}
		if k == "Host" {
			r.Host = v
		}
	}
	return r
}

// do makes a request and reads the whole answer.
func (rg *rig) do(method, target, body string, header map[string]string) (status int, h http.Header, answer string) {
	rg.t.Helper()
	resp, err := rg.browser.Do(rg.request(method, target, body, header))
	if err != nil {
		rg.t.Fatal(err)
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil {
		rg.t.Fatal(err)
	}
	return resp.StatusCode, resp.Header, string(b)
}
