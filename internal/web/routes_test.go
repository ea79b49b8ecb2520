package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"slices"
	"strings"
	"testing"

	"earshot/internal/fault"
)

// Every route: what it asks the desk and what it answers.
func TestRoutes(t *testing.T) {
	rg := newRig(t, Options{Version: "1.2.3"})
	js := func(v any) string {
		b, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	for _, tt := range []struct {
		method, path, body string
		status             int
		call, answer       string
	}{
		{"GET", "/api/hello", "", 200, "State", `{"earshot":"1.2.3","folder":"/data/lessons/dovetail joint"}`},
		{"GET", "/api/state", "", 200, "State", js(lessonState())},
		{"GET", "/api/takes/" + c11, "", 200, `Detail ` + c11 + ` ""`, js(lessonDetail())},
		{"GET", "/api/takes/" + c11 + "?sound=" + phone2, "", 200, `Detail ` + c11 + ` "` + phone2 + `"`, js(lessonDetail())},
		{"PATCH", "/api/takes/" + c7 + "/word", `{"approved":true}`, 200, "Say " + c7 + " approved=true sound=- line=as it was refused=- name=- note=-", js(lessonTakes()[0])},
		{"PATCH", "/api/takes/" + c7 + "/word", `{"line":{"offset_s":1.5,"drift_ppm":12}}`, 200, "Say " + c7 + " approved=- sound=- line={1.5 12} refused=- name=- note=-", js(lessonTakes()[0])},
		{"PATCH", "/api/takes/" + c7 + "/word", `{"line":null,"note":"loud"}`, 200, "Say " + c7 + " approved=- sound=- line=<nil> refused=- name=- note=loud", js(lessonTakes()[0])},
		{"PATCH", "/api/takes/" + c10 + "/word", `{"refused":["` + phone1 + `"],"sound":"","name":"Äpfel"}`, 200, "Say " + c10 + " approved=- sound= line=as it was refused=[" + phone1 + "] name=Äpfel note=-", "null"},
		{"PATCH", "/api/words", `{"words":[{"take":"` + c7 + `","change":{"approved":true}},{"take":"` + c8 + `","change":{"note":"wind"}}]}`, 204,
			`SayAll ["` + c7 + ` approved=true note=-" "` + c8 + ` approved=- note=wind"]`, ""},
		{"POST", "/api/undo", "", 200, "Undo", `{"label":"approved","take":"` + c8 + `","more":0}`},
		{"POST", "/api/redo", "{}", 200, "Redo", "null"},
		{"POST", "/api/takes/" + c7 + "/measure", `{"sound":"` + phone1 + `","at_s":0,"sound_s":219.5}`, 200, "Measure " + c7 + " {" + phone1 + " 0 219.5}", `{"found":null,"why":"nothing was heard there"}`},
		{"GET", "/api/places", "", 200, "Places", js(lessonPlaces())},
		{"GET", "/api/places?path=%2Fdata%2Fa+b", "", 200, `Folder "/data/a b"`, js(lessonInside())},
		{"POST", "/api/paths", `{"add":["/data/x"]}`, 204, `Add ["/data/x"] []`, ""},
		{"POST", "/api/paths", `{"remove":["/data/x","/data/y"]}`, 204, `Add [] ["/data/x" "/data/y"]`, ""},
		{"POST", "/api/demo", "", 204, "Demo", ""},
		{"GET", "/api/recordings/" + phone1 + "/peaks?track=1&level=2&from=5&n=2", "", 200, "Peaks " + phone1 + " {1 2 5 2}", "\x01\x80\xff\x7f\x09\x00\x01\x80\xff\x7f\x09\x00"},
		{"GET", "/api/recordings/" + phone1 + "/samples?from=48000&n=3", "", 200, "Samples " + phone1 + " 0 48000 3", "\x00\x00\x00\x00\x00\x00\x00\x3f\x00\x00\x80\xbf"},
		{"GET", "/api/takes/" + c7 + "/mirror?n=2", "", 200, "Mirror " + c7 + " 2", "\x09\x04\x07\x03\x09\x04\x07\x03"},
		{"GET", "/api/recordings/" + c7 + "/still?at=1.25&w=320", "", 200, "Still " + c7 + " 1.25 320", string(lessonFrame(3))},
		{"GET", "/api/recordings/" + c7 + "/strip?at=4.2&n=11&w=96", "", 200, "Strip " + c7 + " 4.2 11 96", js(lessonStrip())},
		{"GET", "/api/recordings/" + c7 + "/file", "", 200, "C0007.MP4 " + c7, string(content("C0007.MP4"))},
		{"GET", "/api/recordings/" + c7 + "/picture", "", 200, "small.mp4 " + c7, string(content("small.mp4"))},
		{"POST", "/api/recordings/" + c7 + "/picture", "", 204, "small.mp4 " + c7, ""},
		{"GET", "/api/married/" + c7 + "/file", "", 200, "C0007_married.mov " + c7, string(content("C0007_married.mov"))},
		{"GET", "/api/married/" + c7 + "/picture", "", 200, "small_married.mp4 " + c7, string(content("small_married.mp4"))},
		{"GET", "/api/takes/" + c7 + "/loudness?sound=" + phone1, "", 200, "Loudness " + c7 + ` "` + phone1 + `"`, `{"body_lufs":-21.5,"scratch_lufs":null,"whole":true}`},
		{"GET", "/api/takes/" + c7 + "/listen?from=48000&to=96000", "", 200, "Listen " + c7 + ` 48000 96000 "" as laid`, listened()},
		{"GET", "/api/takes/" + c7 + "/listen?sound=" + phone2 + "&offset=-1.5&drift=2", "", 200, "Listen " + c7 + ` 0 0 "` + phone2 + `" {-1.5 2}`, listened()},
		{"POST", "/api/marry", `{"to":"out/two"}`, 204, `Marry to="out/two" sound="" unsure=false only=[] distance=-`, ""},
		{"POST", "/api/marry", `{"to":"/data/out","sound":"aac","unsure":true,"only":["` + c7 + `"],"distance":2.5}`, 204, `Marry to="/data/out" sound="aac" unsure=true only=[` + c7 + `] distance=2.5`, ""},
		{"POST", "/api/marry", "", 204, `Marry to="" sound="" unsure=false only=[] distance=-`, ""},
		{"DELETE", "/api/marry", "", 204, "StopMarrying", ""},
		{"POST", "/api/reveal", `{"what":"married"}`, 204, `Reveal "married" ""`, ""},
		{"POST", "/api/reveal", `{"take":"` + c7 + `"}`, 204, `Reveal "" "` + c7 + `"`, ""},
	} {
		rg.fake.set(func() { rg.fake.calls = nil })
		status, h, answer := rg.do(tt.method, tt.path, tt.body, nil)
		if status != tt.status || answer != tt.answer {
			t.Errorf("%s %s %s: %d %.200q, want %d %.200q", tt.method, tt.path, tt.body, status, answer, tt.status, tt.answer)
		}
		if calls := rg.fake.called(); !slices.Equal(calls, []string{tt.call}) {
			t.Errorf("%s %s asked %q, want %q", tt.method, tt.path, calls, tt.call)
		}
		if h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Content-Security-Policy") != policy || h.Get("Referrer-Policy") != "no-referrer" ||
			h.Get("Cross-Origin-Resource-Policy") != "same-origin" || h.Get("Cross-Origin-Opener-Policy") != "same-origin" {
			t.Errorf("%s %s: answer without its guards: %v", tt.method, tt.path, h)
		}
		if len(answer) > 0 && (answer[0] == '{' || answer == "null") && h.Get("Content-Type") != "application/json" {
			t.Errorf("%s %s: %s", tt.method, tt.path, h.Get("Content-Type"))
		}
	}
}

// listened is what the fake plays, as bytes.
func listened() string {
	var b []byte
	for i := range 3 {
		b = littleEndian(b, []float32{float32(i), -float32(i), 0.25, -0.25})
	}
	return string(b)
}

func TestHeadersOfNumbers(t *testing.T) {
	rg := newRig(t, Options{})
	if _, h, _ := rg.do("GET", "/api/recordings/"+phone1+"/peaks", "", nil); h.Get("Earshot-Bins") != "7" {
		t.Errorf("Earshot-Bins is %q", h.Get("Earshot-Bins"))
	}
	if _, h, _ := rg.do("GET", "/api/recordings/"+phone1+"/samples", "", nil); h.Get("Earshot-Rate") != "44100" {
		t.Errorf("Earshot-Rate is %q", h.Get("Earshot-Rate"))
	}
}

// A dropped file arrives byte by byte, under its own name.
func TestDropped(t *testing.T) {
	rg := newRig(t, Options{})
	raw := map[string]string{"Content-Type": "application/octet-stream"}
	body := strings.Repeat("\x00wave\xff", 400000) // more than a JSON body may be
	if status, _, answer := rg.do("POST", "/api/dropped/%C3%84pfel%20%26%20Leim.m4a", body, raw); status != 204 {
		t.Fatalf("%d %s", status, answer)
	}
	rg.fake.set(func() {
		if got := string(rg.fake.dropped["Äpfel & Leim.m4a"]); got != body {
			t.Errorf("%d bytes arrived of %d", len(got), len(body))
		}
	})
	if status, _, _ := rg.do("POST", "/api/dropped/a.wav", body, nil); status != 415 {
		t.Errorf("dropped as JSON: %d", status)
	}
}

// Requests that make no sense never reach the desk.
func TestSenseless(t *testing.T) {
	rg := newRig(t, Options{})
	peaks, listen := "/api/recordings/"+phone1+"/peaks?", "/api/takes/"+c7+"/listen?"
	still, strip := "/api/recordings/"+c7+"/still?", "/api/recordings/"+c7+"/strip?"
	word, measure := "/api/takes/"+c7+"/word", "/api/takes/"+c7+"/measure"
	long := strings.Repeat("a", maxID+1)
	for _, tt := range []struct {
		method, path, body string
		status             int
	}{
		{"PATCH", "/api/words", `{}`, 400}, {"PATCH", "/api/words", `{"words":[]}`, 400}, {"PATCH", "/api/words", `{"words":[{"take":"` + c7 + `"}]}`, 400},
		{"PATCH", "/api/words", `{"words":[{"take":"a/b","change":{"approved":true}}]}`, 400}, {"PATCH", "/api/words", `{"words":[{"take":"` + c7 + `","change":{"verdict":"sure"}}]}`, 400},
		{"PATCH", "/api/words", `{"words":[` + strings.Repeat(`{"take":"`+c7+`","change":{"approved":true}},`, mostWords) + `{"take":"` + c7 + `","change":{"approved":true}}]}`, 400},
		{"GET", peaks + "level=7", "", 400}, {"GET", peaks + "level=-1", "", 400}, {"GET", peaks + "n=0", "", 400},
		{"GET", peaks + "n=65537", "", 400}, {"GET", peaks + "from=-1", "", 400}, {"GET", peaks + "from=99999999999999999999", "", 400},
		{"GET", peaks + "from=2147483648", "", 400}, {"GET", peaks + "n=1.5", "", 400}, {"GET", peaks + "n=", "", 400}, {"GET", peaks + "n=%2B5", "", 400},
		{"GET", peaks + "n=5&n=6", "", 400}, {"GET", peaks + "track=64", "", 400}, {"GET", peaks + "colour=red", "", 400},
		{"GET", peaks + "n=%zz", "", 400}, {"GET", peaks + "n=1;level=2", "", 400},
		{"GET", "/api/recordings/" + phone1 + "/samples?n=480001", "", 400}, {"GET", "/api/recordings/" + phone1 + "/samples?from=9223372036854775807", "", 400},
		{"GET", "/api/takes/" + c7 + "/mirror?n=2001", "", 400},
		{"GET", still, "", 400}, {"GET", still + "at=NaN", "", 400}, {"GET", still + "at=inf", "", 400}, {"GET", still + "at=-0.5", "", 400},
		{"GET", still + "at=1e400", "", 400}, {"GET", still + "at=1e8", "", 400}, {"GET", still + "at=1&w=0", "", 400}, {"GET", still + "at=1&w=100000", "", 400},
		{"GET", strip + "at=1&n=102", "", 400}, {"GET", strip + "n=11", "", 400},
		{"GET", listen + "from=5&to=5", "", 400}, {"GET", listen + "from=-5", "", 400}, {"GET", listen + "to=0", "", 400}, {"GET", listen + "offset=NaN", "", 400},
		{"GET", listen + "drift=3", "", 400}, {"GET", listen + "offset=1&drift=-inf", "", 400}, {"GET", listen + "sound=a/b", "", 400}, {"GET", listen + "sound=" + long, "", 400},
		{"GET", "/api/takes/" + long, "", 404}, {"GET", "/api/takes/" + c7 + "?sound=%2F", "", 400}, {"GET", "/api/takes/a%20b", "", 404},
		{"GET", "/api/events?since=-1", "", 400}, {"GET", "/api/events?since=x", "", 400},
		{"GET", "/api/places?path=", "", 400}, {"GET", "/api/places?path=relative", "", 400}, {"GET", "/api/places?path=%2Fdata%2F..%2Fetc", "", 400},
		{"GET", "/api/places?path=%2Fa%00b", "", 400}, {"GET", "/api/places?path=%2Fa%ff", "", 400}, {"GET", "/api/places?path=C%3A", "", 400},
		{"PATCH", word, "", 400}, {"PATCH", word, "{}", 400}, {"PATCH", word, "null", 400}, {"PATCH", word, "[]", 400}, {"PATCH", word, `{"approved":1}`, 400},
		{"PATCH", word, `{"approved":true`, 400}, {"PATCH", word, `{"approved":true} {}`, 400}, {"PATCH", word, `{"Approved":true}`, 400},
		{"PATCH", word, `{"colour":"red"}`, 400}, {"PATCH", word, `{"line":{"offset_s":1e300}}`, 400}, {"PATCH", word, `{"line":{"offset_s":1e999}}`, 400},
		{"PATCH", word, `{"line":{"offset_s":0,"drift_ppm":1e6}}`, 400}, {"PATCH", word, `{"sound":"../x"}`, 404}, {"PATCH", word, `{"refused":["a b"]}`, 404},
		{"PATCH", word, `{"name":"../../etc/passwd"}`, 400}, {"PATCH", word, `{"name":"a\u0000b"}`, 400}, {"PATCH", word, `{"note":"` + strings.Repeat("n", maxNote+1) + `"}`, 400},
		{"PATCH", word, `{"note":"` + strings.Repeat("n", maxBody) + `"}`, 413},
		{"POST", measure, "", 400}, {"POST", measure, `{"sound":"x","at_s":1}`, 400}, {"POST", measure, `{"sound":"a.b","at_s":1,"sound_s":1}`, 404},
		{"POST", measure, `{"sound":"x","at_s":1e8,"sound_s":1}`, 400}, {"POST", measure, `{"sound":"x","at_s":"1","sound_s":1}`, 400},
		{"POST", "/api/paths", "", 400}, {"POST", "/api/paths", `{"add":["relative"]}`, 400}, {"POST", "/api/paths", `{"add":["/a/../b"]}`, 400},
		{"POST", "/api/paths", `{"add":["\\\\server\\share"]}`, 400}, {"POST", "/api/paths", `{"add":["/a\u0000"]}`, 400}, {"POST", "/api/paths", `{"remove":["x"]}`, 400},
		{"POST", "/api/paths", `{"add":["/` + strings.Repeat("p", maxPath) + `"]}`, 400},
		{"POST", "/api/marry", `{"only":["a/b"]}`, 404}, {"POST", "/api/marry", `{"to":"../y"}`, 400}, {"POST", "/api/marry", `{"to":"x/../y"}`, 400}, {"POST", "/api/marry", `{"to":"x\u0000y"}`, 400}, {"POST", "/api/marry", `{"fast":true}`, 400}, {"POST", "/api/marry", `{"distance":"far"}`, 400},
		{"POST", "/api/reveal", "", 400}, {"POST", "/api/reveal", `{"what":"etc"}`, 400}, {"POST", "/api/reveal", `{"take":"/etc"}`, 404}, {"POST", "/api/reveal", `{"what":"married","take":"x"}`, 400},
		{"GET", "/api/nothing", "", 404}, {"GET", "/api/", "", 404}, {"POST", "/", "", 405}, {"GET", "/api/undo", "", 405}, {"DELETE", "/api/state", "", 405}, {"PUT", "/api/marry", "", 405},
		{"GET", "/api/state", "{}", 400},
		{"GET", "/nothing.js", "", 404}, {"GET", "/embed.go", "", 404}, {"GET", "/index.html/", "", 404},
	} {
		rg.fake.set(func() { rg.fake.calls = nil })
		status, h, answer := rg.do(tt.method, tt.path, tt.body, nil)
		var trouble Trouble
		if err := json.Unmarshal([]byte(answer), &trouble); err != nil || trouble.Error == "" || h.Get("Content-Type") != "application/json" {
			t.Errorf("%s %.80s %.80s: %d %.200q is no trouble: %v", tt.method, tt.path, tt.body, status, answer, err)
		}
		if status != tt.status {
			t.Errorf("%s %.80s %.80s: %d, want %d: %.200s", tt.method, tt.path, tt.body, status, tt.status, answer)
		}
		if status == 405 && h.Get("Allow") == "" {
			t.Errorf("%s %s: 405 without Allow", tt.method, tt.path)
		}
		if calls := rg.fake.called(); len(calls) != 0 {
			t.Errorf("%s %.80s %.80s reached the desk: %q", tt.method, tt.path, tt.body, calls)
		}
	}
}

// What the desk says went wrong comes with its status, sentence and hint.
func TestFailures(t *testing.T) {
	rg := newRig(t, Options{})
	for _, tt := range []struct {
		err    error
		status int
	}{
		{&fault.Error{Kind: fault.Usage, Op: "do", Err: errors.New("no"), Hint: "h"}, 400},
		{&fault.Error{Kind: fault.Unreadable, Op: "do", Err: errors.New("no"), Hint: "h"}, 422},
		{&fault.Error{Kind: fault.Unreadable, Op: "do", Err: &fs.PathError{Op: "open", Path: "x", Err: fs.ErrNotExist}, Hint: "h"}, 404},
		{&fault.Error{Kind: fault.Unwritable, Op: "do", Err: errors.New("no"), Hint: "h"}, 507},
		{&fault.Error{Kind: fault.Engine, Op: "do", Err: errors.New("no"), Hint: "h"}, 502},
		{&fault.Error{Kind: fault.Cancelled, Op: "do", Err: errors.New("no"), Hint: "h"}, 503},
		{&fault.Error{Kind: fault.Internal, Op: "do", Err: errors.New("no"), Hint: "h"}, 500},
		{fmt.Errorf("outer: %w", &fault.Error{Kind: fault.Usage, Op: "do", Hint: "h"}), 400},
	} {
		rg.fake.set(func() { rg.fake.err = tt.err })
		for _, route := range []string{"POST /api/undo", "GET /api/takes/" + c7 + "/listen", "GET /api/recordings/" + c7 + "/file",
			"GET /api/recordings/" + phone1 + "/peaks", "POST /api/demo", "GET /api/takes/" + c7, "POST /api/marry"} {
			method, path, _ := strings.Cut(route, " ")
			status, h, answer := rg.do(method, path, "", nil)
			want, _ := json.Marshal(Trouble{tt.err.Error(), "h"})
			if status != tt.status || answer != string(want) || h.Get("Cache-Control") != "no-store" {
				t.Errorf("%s with %v: %d %s", route, tt.err, status, answer)
			}
		}
	}
}

// A mistake in a handler is an answer, and the next request is served, on the
// same connection.
func TestPanics(t *testing.T) {
	rg := newRig(t, Options{})
	rg.fake.set(func() { rg.fake.panics = "out of reach" })
	for range 3 {
		status, _, answer := rg.do("POST", "/api/undo", "", nil)
		if status != 500 || !strings.Contains(answer, "out of reach") || !strings.Contains(answer, "originals are never written to") {
			t.Errorf("%d %s", status, answer)
		}
	}
	rg.fake.set(func() { rg.fake.panics = "" })
	if status, _, _ := rg.do("POST", "/api/undo", "", nil); status != 200 {
		t.Errorf("afterwards: %d", status)
	}
	if !strings.Contains(rg.remarks.String(), "routes.go") {
		t.Errorf("the remarks do not say where: %s", rg.remarks)
	}
}

// A number that JSON cannot say is our own doing, not half an answer.
func TestUnsayable(t *testing.T) {
	rg := newRig(t, Options{})
	s := lessonState()
	s.Takes[0].Chance = math.NaN()
	rg.fake.set(func() { rg.fake.state = &s })
	if status, _, answer := rg.do("GET", "/api/state", "", nil); status != 500 || !strings.Contains(answer, "NaN") {
		t.Errorf("%d %s", status, answer)
	}
}

func TestFileNames(t *testing.T) {
	for _, good := range []string{"a.wav", "rec_20260114_101502.m4a", "Äpfel & Leim.m4a", "a.b.c", "CONCERT.mov", "com10.wav", "what?.mp4", "录音.wav", "n", strings.Repeat("n", maxName)} {
		if err := fileName(good); err != nil {
			t.Errorf("%q: %v", good, err)
		}
	}
	for _, bad := range []string{"", ".", "..", "...", ".hidden", "a.", "a ", " a", "a/b", `a\b`, "/a", "C:a", "a:b", "a\x00b", "a\nb", "a\x7f", "a\u0085", "\xff",
		"CON", "con.wav", "Nul.tar.gz", "COM1", "lpt9.m4a", "COM².wav", "aux .mp4", "CONIN$", strings.Repeat("n", maxName+1)} {
		if err := fileName(bad); fault.KindOf(err) != fault.Usage {
			t.Errorf("%q: %v", bad, err)
		}
	}
}
