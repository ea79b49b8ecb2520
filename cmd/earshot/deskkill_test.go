package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"reflect"
	"strings"
	"testing"
	"time"

	noun "earshot/internal/shoot"
)

// A guest asks the desk as the page does.
type guest struct {
	client *http.Client
	base   string
}

// enter lets a guest in by the address the desk printed.
func enter(t *testing.T, address string) *guest {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	at, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	g := &guest{&http.Client{Jar: jar, Timeout: time.Minute}, "http://" + at.Host}
	resp, err := g.client.Get(address)
	if err != nil || resp.StatusCode != http.StatusOK {
		t.Fatal(resp, err)
	}
	resp.Body.Close()
	return g
}

// ask sends body as JSON, nil for none, and reads the answer into v.
func (g *guest) ask(method, path string, body, v any) error {
	var in io.Reader
	if body != nil {
		b, err := json.Marshal(body)
		if err != nil {
			return err
		}
		in = bytes.NewReader(b)
	}
	req, err := http.NewRequest(method, g.base+path, in)
	if err != nil {
		return err
	}
	req.Header.Set("Origin", g.base)
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	resp, err := g.client.Do(req)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil {
		return err
	}
	if resp.StatusCode >= 300 {
		return fmt.Errorf("%s %s: %d %s", method, path, resp.StatusCode, b)
	}
	if v == nil || len(b) == 0 {
		return nil
	}
	return json.Unmarshal(b, v)
}

// A memory is what a person remembers to have said: words by take, and the way
// back and forth.
type memory struct {
	words      map[string]noun.Word
	past, next []recalled
}

type recalled struct {
	take    string
	was, is noun.Word
}

func (m *memory) copy() *memory {
	c := &memory{words: map[string]noun.Word{}, past: append([]recalled{}, m.past...), next: append([]recalled{}, m.next...)}
	for k, w := range m.words {
		c.words[k] = w
	}
	return c
}

// A deed is one thing a person does at the desk.
type deed struct {
	method, path string
	body         any
	remember     func(*memory)
}

// saying is a deed that says something of a take.
func saying(take string, change map[string]any) deed {
	b, _ := json.Marshal(change)
	var c noun.Change
	_ = json.Unmarshal(b, &c)
	return deed{"PATCH", "/api/takes/" + take + "/word", change, func(m *memory) {
		was := m.words[take]
		is := c.Over(was)
		if reflect.DeepEqual(was, is) {
			return
		}
		m.words[take] = is
		m.past, m.next = append(m.past, recalled{take, was, is}), nil
	}}
}

var undoing = deed{"POST", "/api/undo", map[string]any{}, func(m *memory) {
	if n := len(m.past) - 1; n >= 0 {
		last := m.past[n]
		m.words[last.take], m.past, m.next = last.was, m.past[:n], append(m.next, last)
	}
}}

var redoing = deed{"POST", "/api/redo", map[string]any{}, func(m *memory) {
	if n := len(m.next) - 1; n >= 0 {
		last := m.next[n]
		m.words[last.take], m.next, m.past = last.is, m.next[:n], append(m.past, last)
	}
}}

func randomDeed(r *rand.Rand, takes []string, n int) deed {
	take := takes[r.IntN(len(takes))]
	switch r.IntN(8) {
	case 0:
		return saying(take, map[string]any{"approved": r.IntN(2) == 0})
	case 1:
		return saying(take, map[string]any{"name": fmt.Sprintf("take %d", n)})
	case 2:
		return saying(take, map[string]any{"note": strings.Repeat("look at the hands. ", r.IntN(80)) + fmt.Sprint(n)})
	case 3:
		return saying(take, map[string]any{"line": nil})
	case 4:
		return undoing
	case 5:
		return redoing
	default:
		return saying(take, map[string]any{"line": noun.Line{Offset: float64(n) / 1000, Drift: r.Float64()}})
	}
}

// TestDeskOutlivesKills kills the program at thirty random moments of a session.
// Each time the next start shows, at once and before it has measured anything,
// all that was said and answered; of what was under way, all or nothing.
func TestDeskOutlivesKills(t *testing.T) {
	const kills, seed = 30, 7
	r := rand.New(rand.NewPCG(seed, 0))
	folder := t.TempDir()
	takes := demoOnDesk(t, folder)
	m, said := &memory{words: map[string]noun.Word{}}, 0
	var flying *memory // with what was under way when it was killed
	for kill := range kills {
		d := startDesk(t, folder)
		g := enter(t, d.url)
		m = remembered(t, g, takes, m, flying)
		timer := time.AfterFunc(time.Duration(r.IntN(700))*time.Millisecond, func() { d.cmd.Process.Kill() })
		for {
			n := said + 1
			do := randomDeed(r, takes, n)
			flying = m.copy()
			do.remember(flying)
			if err := g.ask(do.method, do.path, do.body, nil); err != nil {
				if strings.Contains(err.Error(), "/api/") && strings.Contains(err.Error(), ": 4") {
					t.Fatalf("kill %d: %v", kill, err)
				}
				break // it was killed
			}
			m, said = flying, n
		}
		timer.Stop()
		d.cmd.Wait()
	}
	remembered(t, enter(t, startDesk(t, folder).url), takes, m, flying)
	if said < kills {
		t.Fatalf("only %d things were said between %d kills", said, kills)
	}
	t.Logf("%d kills, %d things said and all there", kills, said)
}

// remembered wants that the desk shows what m says, or flying, and returns which.
func remembered(t *testing.T, g *guest, takes []string, m, flying *memory) *memory {
	t.Helper()
	var s struct {
		Takes []struct {
			ID   string
			Word noun.Word
		}
		Undo, Redo *noun.Step
	}
	if err := g.ask("GET", "/api/state", nil, &s); err != nil {
		t.Fatal(err)
	}
	shown := map[string]noun.Word{}
	for _, k := range s.Takes {
		if len(k.Word.Refused) == 0 {
			k.Word.Refused = nil
		}
		shown[k.ID] = k.Word
	}
	if len(shown) != len(takes) {
		t.Fatalf("the next start shows %d takes, want %d", len(shown), len(takes))
	}
	for _, may := range []*memory{m, flying} {
		if may == nil {
			continue
		}
		same := (s.Undo != nil) == (len(may.past) > 0) && (s.Redo != nil) == (len(may.next) > 0)
		for _, id := range takes {
			same = same && reflect.DeepEqual(shown[id], may.words[id])
		}
		if same {
			return may
		}
	}
	t.Fatalf("the next start shows %+v (undo %v, redo %v), want %+v", shown, s.Undo, s.Redo, m.words)
	return nil
}

// demoOnDesk puts the demo's shoot on a desk, measured, and returns its takes.
func demoOnDesk(t *testing.T, folder string) (takes []string) {
	t.Helper()
	d := startDesk(t, folder)
	g := enter(t, d.url)
	if err := g.ask("POST", "/api/demo", map[string]any{}, nil); err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(3 * time.Minute); ; time.Sleep(100 * time.Millisecond) {
		var s deskState
		if err := g.ask("GET", "/api/state", nil, &s); err != nil {
			t.Fatal(err)
		}
		done := len(s.Takes) == 4 && !s.Work.Busy
		for _, k := range s.Takes {
			done = done && k.Verdict == "sure"
		}
		if done {
			for _, k := range s.Takes {
				takes = append(takes, k.ID)
			}
			break
		}
		if time.Now().After(end) {
			t.Fatalf("not measured: %+v", s)
		}
	}
	d.kill()
	return takes
}
