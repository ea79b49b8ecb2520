package webtest

import (
	"bufio"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"time"
)

// A Fox is one tab of a headless Firefox, driven by WebDriver BiDi
// (w3.org/TR/webdriver-bidi).
type Fox struct {
	T    T
	sock *socket
	tab  string

	mu     sync.Mutex
	last   int
	waits  map[int]chan answer
	wrongs []string // errors and warnings that the browser told
	ended  error    // why it answers no more
}

// An answer is what the browser says to one command.
type answer struct {
	Result  json.RawMessage
	Error   string
	Message string
}

var foxAddress = regexp.MustCompile(`WebDriver BiDi listening on ws://(\S+)`)

// foxPrefs make a Firefox that asks nobody anything and plays without a hand.
const foxPrefs = `user_pref("media.autoplay.default", 0);
user_pref("media.autoplay.blocking_policy", 0);
user_pref("media.volume_scale", "0.0");
user_pref("app.update.enabled", false);
user_pref("browser.shell.checkDefaultBrowser", false);
user_pref("datareporting.policy.dataSubmissionEnabled", false);
user_pref("toolkit.telemetry.enabled", false);
user_pref("network.captive-portal-service.enabled", false);
user_pref("network.connectivity-service.enabled", false);
`

// Firefox opens an address in a Firefox of its own, which hears a sound server
// of its own if sound is said; a test is skipped where there is none.
func Firefox(t T, width, height int, url string, sound bool) *Fox {
	t.Helper()
	bin := program(t, "Firefox", "firefox-esr", "firefox")
	f := &Fox{T: t, waits: map[int]chan answer{}}
	host := f.start(bin, sound)
	var err error
	if f.sock, err = dial(host, "/session"); err != nil {
		t.Fatalf("talk to Firefox at %s: %v", host, err)
	}
	t.Cleanup(func() { f.sock.conn.Close() })
	go f.hear()
	f.ask("session.new", map[string]any{"capabilities": map[string]any{}}, nil)
	f.ask("session.subscribe", map[string]any{"events": []string{"log.entryAdded"}}, nil)
	var tree struct{ Contexts []struct{ Context string } }
	f.ask("browsingContext.getTree", map[string]any{}, &tree)
	if len(tree.Contexts) == 0 {
		t.Fatalf("Firefox has no tab")
	}
	f.tab = tree.Contexts[0].Context
	f.ask("browsingContext.setViewport", map[string]any{"context": f.tab, "viewport": map[string]int{"width": width, "height": height}}, nil)
	f.ask("browsingContext.navigate", map[string]any{"context": f.tab, "url": url, "wait": "complete"}, nil)
	f.Until("the page is there", `location.pathname === '/' && document.querySelector('#main > *')`)
	return f
}

// start starts the program and answers the host and port it listens at.
func (f *Fox) start(bin string, sound bool) string {
	f.T.Helper()
	home := f.T.TempDir()
	profile := filepath.Join(home, "profile")
	err := os.Mkdir(profile, 0o700)
	if err == nil {
		err = os.WriteFile(filepath.Join(profile, "user.js"), []byte(foxPrefs), 0o600)
	}
	if err != nil {
		f.T.Fatalf("make Firefox a profile: %v", err)
	}
	cmd := exec.Command(bin, "--headless", "--no-remote", "--remote-debugging-port=0", "--profile", profile)
	cmd.Env = append(os.Environ(), "HOME="+home, "MOZ_CRASHREPORTER_DISABLE=1", "MOZ_DISABLE_CONTENT_SANDBOX=1")
	if sound {
		cmd.Env = append(cmd.Env, "PULSE_SERVER="+f.sound(home))
	}
	out, err := cmd.StderrPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		f.T.Fatalf("start Firefox: %v", err)
	}
	f.T.Cleanup(func() {
		cmd.Process.Kill()
		cmd.Wait()
	})
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if found := foxAddress.FindStringSubmatch(lines.Text()); found != nil {
			go func() {
				for lines.Scan() { // what it says later is nobody's
				}
			}()
			return found[1]
		}
	}
	f.T.Fatalf("Firefox said no address: %v", lines.Err())
	return ""
}

// sound starts a sound server of the test's own that plays into nothing, and
// answers its address: without any sound device Firefox's audio never runs. The
// test is skipped where there is no such server.
func (f *Fox) sound(home string) string {
	f.T.Helper()
	bin := program(f.T, "PulseAudio", "pulseaudio")
	at := filepath.Join(home, "sound")
	cmd := exec.Command(bin, "-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1", "--high-priority=no", "--realtime=no",
		"--load=module-null-sink", "--load=module-native-protocol-unix auth-anonymous=1 socket="+at)
	cmd.Env = append(os.Environ(), "HOME="+home, "XDG_RUNTIME_DIR="+home)
	if err := cmd.Start(); err != nil {
		f.T.Fatalf("start a sound server: %v", err)
	}
	f.T.Cleanup(func() {
		cmd.Process.Kill()
		cmd.Wait()
	})
	for range 200 {
		if _, err := os.Stat(at); err == nil {
			return "unix:" + at
		}
		time.Sleep(50 * time.Millisecond)
	}
	f.T.Fatalf("the sound server did not begin")
	return ""
}

// hear sorts what comes from the browser.
func (f *Fox) hear() {
	for {
		text, err := f.sock.read()
		var m struct {
			ID     *int
			Method string
			answer
			Params struct{ Level, Text string }
		}
		if err == nil {
			err = json.Unmarshal(text, &m)
		}
		f.mu.Lock()
		switch {
		case err != nil:
			f.ended = err
			for _, w := range f.waits {
				close(w)
			}
			f.waits = nil
			f.mu.Unlock()
			return
		case m.ID != nil && f.waits[*m.ID] != nil:
			f.waits[*m.ID] <- m.answer
			delete(f.waits, *m.ID)
		case m.Method == "log.entryAdded" && (m.Params.Level == "error" || m.Params.Level == "warn"):
			f.wrongs = append(f.wrongs, shorten(m.Params.Level+": "+m.Params.Text, 300))
		}
		f.mu.Unlock()
	}
}

// ask sends a command and reads its result into v, for at most a minute; nil: it
// is not asked for.
func (f *Fox) ask(method string, params, v any) {
	f.T.Helper()
	if err := f.try(method, params, v); err != nil {
		f.T.Fatalf("Firefox, %s: %v", method, err)
	}
}

func (f *Fox) try(method string, params, v any) error {
	f.mu.Lock()
	if f.ended != nil {
		f.mu.Unlock()
		return f.ended
	}
	f.last++
	id, got := f.last, make(chan answer, 1)
	f.waits[id] = got
	f.mu.Unlock()
	b, err := json.Marshal(map[string]any{"id": id, "method": method, "params": params})
	if err == nil {
		err = f.sock.write(frameText, b)
	}
	if err != nil {
		return err
	}
	select {
	case a, ok := <-got:
		if !ok {
			return fmt.Errorf("it broke off: %w", f.ended)
		}
		if a.Error != "" {
			return fmt.Errorf("%s: %s", a.Error, a.Message)
		}
		if v == nil {
			return nil
		}
		return json.Unmarshal(a.Result, v)
	case <-time.After(time.Minute):
		return fmt.Errorf("no answer within a minute")
	}
}

// JS evaluates an expression, which may await, into v; nil: it is not asked for.
func (f *Fox) JS(expr string, v any) {
	f.T.Helper()
	var got struct {
		Type             string
		Result           struct{ Value string }
		ExceptionDetails struct{ Text string }
	}
	f.ask("script.evaluate", map[string]any{"expression": `(async () => { ` + find + `; return JSON.stringify((` + expr + `) ?? null) })()`,
		"target": map[string]string{"context": f.tab}, "awaitPromise": true, "userActivation": true}, &got)
	if got.Type != "success" {
		f.T.Fatalf("%s: %s", shorten(expr, 200), got.ExceptionDetails.Text)
	}
	if v == nil {
		return
	}
	if err := json.Unmarshal([]byte(got.Result.Value), v); err != nil {
		f.T.Fatalf("%s: %v", shorten(expr, 200), err)
	}
}

// Until waits until an expression is true.
func (f *Fox) Until(what, expr string) {
	f.T.Helper()
	end := time.Now().Add(2 * time.Minute)
	for ok := false; !ok; {
		if f.JS("Boolean("+expr+")", &ok); ok {
			return
		}
		if time.Now().After(end) {
			var text string
			f.JS("document.body.innerText", &text)
			f.T.Fatalf("waited in vain until %s; the browser says %q and the page:\n%s", what, f.wrongs, shorten(text, 1500))
		}
		time.Sleep(50 * time.Millisecond)
	}
}

// foxKeys are the keys that have a name instead of a character (WebDriver,
// section 17.4.2).
var foxKeys = map[string]string{"Enter": "\uE007", "Escape": "\uE00C", "Tab": "\uE004", "ArrowLeft": "\uE012", "ArrowUp": "\uE013",
	"ArrowRight": "\uE014", "ArrowDown": "\uE015", "Space": " "}

// Keys presses keys, one after the other: single characters, or names such as
// "Enter" and "ArrowRight".
func (f *Fox) Keys(names ...string) {
	f.T.Helper()
	var deeds []map[string]string
	for _, name := range names {
		key, ok := foxKeys[name]
		if !ok {
			key = name
		}
		deeds = append(deeds, map[string]string{"type": "keyDown", "value": key}, map[string]string{"type": "keyUp", "value": key})
	}
	f.ask("input.performActions", map[string]any{"context": f.tab, "actions": []any{map[string]any{"type": "key", "id": "keys", "actions": deeds}}}, nil)
}

// Press clicks the button, link or tab that is called so.
func (f *Fox) Press(name string) {
	f.T.Helper()
	quoted, _ := json.Marshal(name)
	f.Until("there is something called "+name, `find(`+string(quoted)+`)`)
	f.JS(`find(`+string(quoted)+`).click()`, nil)
}

// Clean wants that the browser found nothing wrong.
func (f *Fox) Clean() {
	f.T.Helper()
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, w := range f.wrongs {
		f.T.Errorf("Firefox says: %s", w)
	}
	f.wrongs = nil
}

// Look keeps a picture of the page where EARSHOT_LOOK names a folder.
func (f *Fox) Look(name string) {
	dir := os.Getenv("EARSHOT_LOOK")
	if dir == "" {
		return
	}
	var shot struct{ Data []byte }
	if err := f.try("browsingContext.captureScreenshot", map[string]any{"context": f.tab}, &shot); err == nil {
		_ = os.WriteFile(filepath.Join(dir, strings.ReplaceAll(f.T.Name(), "/", "-")+"-"+name+".png"), shot.Data, 0o644)
	}
}
