package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"syscall"
	"testing"

	"earshot/internal/cli"
)

func settings(cache string) cli.Settings {
	return cli.Settings{Engine: "auto", Cache: cache, Say: func(string) {}}
}

// A folder that cannot be made or written to is told of before anything long
// begins.
func TestTargetInTheWay(t *testing.T) {
	s := newShoot(t)
	s.put("out", []byte("a file, not a folder"))
	for _, to := range []string{"out", "out/below"} {
		res := s.run("marry", "day", "--to", to)
		s.want(res, 1, `write into "`+to+`": not a directory`, "choose another folder with --to")
		if strings.Contains(res.err, "reading") {
			t.Errorf("it reads first: %s", res.err)
		}
	}
}

// small mounts a file system of so many KiB, which is gone after the test.
func small(t *testing.T, dir, size string) {
	t.Helper()
	if err := os.MkdirAll(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	if said, err := exec.Command("mount", "-t", "tmpfs", "-o", "size="+size, "tmpfs", dir).CombinedOutput(); err != nil {
		t.Skipf("no small disk can be mounted here: %s", said)
	}
	t.Cleanup(func() { exec.Command("umount", "-l", dir).Run() })
}

// A disk that fills up while a clip is written: the clip fails in words, no
// part of it is left, and what fits is written.
func TestFullDisk(t *testing.T) {
	s := newShoot(t)
	small(t, s.path("out"), "1200k")
	res := s.run("marry", "day", "--to", "out")
	s.want(res, 1, `write clip "out/A001_married.mov": the disk is full; free some space or choose another folder`)
	for _, name := range s.files("out") {
		if !strings.HasPrefix(name, "report.") {
			t.Errorf("%s is left behind", name)
		}
	}

	// Not even room for a report.
	fill, err := os.Create(s.path("out/fill"))
	if err != nil {
		t.Fatal(err)
	}
	for err == nil {
		_, err = fill.Write(make([]byte, 4096))
	}
	fill.Close()
	res = s.run("marry", "day", "--to", "out")
	s.want(res, 1, "no space left on device", "--to")
	for _, name := range s.files("out") {
		if strings.HasPrefix(name, ".") {
			t.Errorf("%s is left behind", name)
		}
	}
}

// A full disk under the cache stops nothing silently.
func TestFullCache(t *testing.T) {
	s := newShoot(t)
	small(t, s.path("small"), "300k")
	res := s.run("pair", "day", "--cache", s.path("small"), "--engine", "native")
	if strings.Contains(res.err, "find a native ffmpeg") {
		t.Skip("no native ffmpeg")
	}
	s.want(res, 1, "no space left on device", "EARSHOT_CACHE")
}

// A disk that only reads takes nothing, and says so.
func TestReadOnlyTarget(t *testing.T) {
	s := newShoot(t)
	small(t, s.path("out"), "1m")
	if err := exec.Command("mount", "-o", "remount,ro", s.path("out")).Run(); err != nil {
		t.Skip("no disk can be made read-only here")
	}
	s.want(s.run("marry", "day", "--to", "out"), 1, `write into "out": read-only file system`, "choose another folder with --to")
}

// Two cards number their clips alike: neither takes the other's name.
func TestSameNameOnTwoCards(t *testing.T) {
	s := newShoot(t)
	other := append(bytes.Clone(whole.clip), "\x00\x00\x00\x0cfree...."...)
	s.put("day/card2/A001.mov", other)
	res := s.run("marry", "day", "--to", "out")
	s.want(res, 0, "2 finished clips")
	s.wantFiles("out", "A001_married.mov", "card2_A001_married.mov", "report.json", "report.txt")
	s.want(s.run("marry", "day", "--to", "out"), 0, "already there: A001_married.mov", "already there: card2_A001_married.mov")
	s.wantFiles("out", "A001_married.mov", "card2_A001_married.mov", "report.json", "report.txt")
}

// The target may lie inside what is read: what was written is no recording.
// The second run leaves everything as it is; --again writes it anew.
func TestTargetInsideTheShoot(t *testing.T) {
	s := newShoot(t)
	for _, to := range []string{"day/married", "day"} {
		s.want(s.run("marry", "day", "--to", to), 0, "written: A001_married.mov", "1 take: 1 sure")
		first, err := os.Stat(s.path(to + "/A001_married.mov"))
		if err != nil {
			t.Fatal(err)
		}
		s.want(s.run("marry", "day", "--to", to), 0, "already there: A001_married.mov", "1 take: 1 sure")
		second, _ := os.Stat(s.path(to + "/A001_married.mov"))
		if !os.SameFile(first, second) {
			t.Error("the second run writes it again")
		}
		s.want(s.run("marry", "day", "--to", to, "--again"), 0, "written: A001_married.mov", "1 take: 1 sure")
		third, _ := os.Stat(s.path(to + "/A001_married.mov"))
		if os.SameFile(first, third) {
			t.Error("--again leaves the file as it is")
		}
		s.want(s.run("pair", "day"), 0, "1 take: 1 sure")
		os.RemoveAll(s.path("day/married"))
	}
}

// What somebody else put there under our names stays, but for a clip with
// --again.
func TestOtherPeoplesFiles(t *testing.T) {
	s := newShoot(t)
	alien, notes := []byte("somebody's film"), []byte("somebody's notes")
	s.put("out/A001_married.mov", alien)
	s.put("out/report.txt", notes)
	s.want(s.run("marry", "day", "--to", "out"), 0, "written: day_A001_married.mov", "Report: out/earshot-report.txt")
	if b, _ := os.ReadFile(s.path("out/A001_married.mov")); !bytes.Equal(b, alien) {
		t.Error("a file of somebody else was replaced")
	}
	s.want(s.run("marry", "day", "--to", "out", "--again"), 0, "written: A001_married.mov")
	if b, _ := os.ReadFile(s.path("out/report.txt")); !bytes.Equal(b, notes) {
		t.Error("somebody's report was replaced")
	}
	s.wantFiles("out", "A001_married.mov", "day_A001_married.mov", "earshot-report.json", "earshot-report.txt", "report.txt")
}

// No option makes a finished clip take the place of an original.
func TestOriginalsAreNeverReplaced(t *testing.T) {
	s := newShoot(t)
	res := s.run("marry", "day", "--to", "day", "--name", "{clip}", "--again")
	s.want(res, 0, "1 finished clip")
	if b, _ := os.ReadFile(s.clip); !bytes.Equal(b, whole.clip) {
		t.Error("the original was replaced")
	}
}

// Originals are opened for reading only, by the program and by its engine.
func TestOriginalsAreOpenedForReading(t *testing.T) {
	strace, err := exec.LookPath("strace")
	if err != nil {
		t.Skip("this check needs strace")
	}
	s := newShoot(t)
	for _, engine := range []string{"native", "embedded"} {
		log, out := s.path(engine+".log"), s.path("out-"+engine)
		earshot, err := exec.LookPath("earshot")
		if err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(strace, "-f", "-o", log, "-e", "trace=open,openat,creat,truncate,unlink,unlinkat,rename,renameat,renameat2,chmod,fchmodat,utimensat,link,linkat", "-s", "500",
			earshot, "marry", s.day, "--to", out, "--engine", engine, "--cache", s.cache, "--fresh")
		if said, err := cmd.CombinedOutput(); err != nil {
			if bytes.Contains(said, []byte("native ffmpeg")) || bytes.Contains(said, []byte("ptrace")) {
				t.Skipf("%s", said)
			}
			t.Fatalf("%v: %s", err, said)
		}
		calls, err := os.ReadFile(log)
		if err != nil {
			t.Fatal(err)
		}
		reads := 0
		for _, line := range strings.Split(string(calls), "\n") {
			if !strings.Contains(line, s.day+"/") && !namesOnly(line, "A001.mov", "anna.wav") {
				continue
			}
			if !strings.Contains(line, "O_RDONLY") || regexp.MustCompile(`O_(WRONLY|RDWR|CREAT|TRUNC|APPEND)`).MatchString(line) {
				t.Errorf("%s engine: %s", engine, line)
			}
			reads++
		}
		if reads < 4 {
			t.Errorf("%s engine: only %d opens of originals seen", engine, reads)
		}
	}
}

// namesOnly tells whether a call names one of the files, alone, as calls
// relative to an open folder do.
func namesOnly(line string, names ...string) bool {
	for _, n := range names {
		if strings.Contains(line, `"`+n+`"`) {
			return true
		}
	}
	return false
}

// A file that may not be read fails by itself. Root may read everything, so
// root's run is made by somebody else.
func TestUnreadable(t *testing.T) {
	s := newShoot(t)
	secret := s.put("day/secret.mov", whole.clip)
	if err := os.Chmod(secret, 0); err != nil {
		t.Fatal(err)
	}
	earshot, err := exec.LookPath("earshot")
	if err != nil {
		t.Fatal(err)
	}
	program, cache := s.path("earshot"), s.path("nobody")
	b, err := os.ReadFile(earshot)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(program, b, 0o755); err != nil {
		t.Fatal(err)
	}
	os.MkdirAll(cache, 0o777)
	os.Chmod(cache, 0o777)
	for dir := s.day; len(dir) > len(os.TempDir()); dir = filepath.Dir(dir) {
		os.Chmod(dir, 0o755)
	}
	cmd := exec.Command(program, "pair", s.day, "--cache", cache)
	cmd.Args[0] = "earshot"
	cmd.Env = append(os.Environ(), "NO_COLOR=1")
	if os.Getuid() == 0 {
		asNobody(cmd)
	}
	out, err := cmd.CombinedOutput()
	if cmd.ProcessState == nil {
		t.Skip("no run as somebody else here: ", err)
	}
	for _, text := range []string{"secret.mov", "permission denied", "check that the card or disk is still there", "1 take: 1 sure"} {
		if !bytes.Contains(out, []byte(text)) {
			t.Errorf("nothing says %q: %s", text, out)
		}
	}
	if cmd.ProcessState.ExitCode() != 1 {
		t.Errorf("status %d, want 1", cmd.ProcessState.ExitCode())
	}
}

// A cache whose every file was damaged changes no answer and breaks nothing.
func TestDamagedCache(t *testing.T) {
	s := newShoot(t)
	s.cache = s.path("own-cache")
	if entries, err := filepath.Glob(filepath.Join(kept(t), "engine-*")); err == nil {
		for _, e := range entries { // compiling is not what this is about
			os.MkdirAll(s.cache, 0o777)
			os.Symlink(e, filepath.Join(s.cache, filepath.Base(e)))
		}
	}
	want := s.run("pair", "--json", "day")
	s.want(want, 0)
	for name, damage := range map[string]func(b []byte) []byte{
		"flipped": func(b []byte) []byte { b[len(b)/2] ^= 1; return b },
		"first":   func(b []byte) []byte { b[0] ^= 0x80; return b },
		"last":    func(b []byte) []byte { b[len(b)-1] ^= 4; return b },
		"cut":     func(b []byte) []byte { return b[:len(b)*2/3] },
		"emptied": func(b []byte) []byte { return nil },
		"zeroed":  func(b []byte) []byte { clear(b); return b },
		"json":    func(b []byte) []byte { return []byte("{}") },
	} {
		n := s.damageCache(func(path string) bool { return true }, damage)
		if n < 5 {
			t.Fatalf("%s: only %d files are kept", name, n)
		}
		got := s.run("pair", "--json", "day")
		s.want(got, 0)
		if got.out != want.out {
			t.Errorf("%s: a damaged cache changes the answer:\n%s\nwant\n%s", name, got.out, want.out)
		}
	}

	// Only what a measurement reads when all else is known.
	n := s.damageCache(func(path string) bool {
		return strings.HasPrefix(filepath.Base(path), "proxy-") || strings.HasPrefix(filepath.Base(path), "links-")
	}, func(b []byte) []byte { b[len(b)/2] ^= 0x40; return b })
	if n < 3 {
		t.Fatalf("only %d proxies and links are kept", n)
	}
	if got := s.run("pair", "--json", "day"); got.out != want.out {
		t.Errorf("damaged proxies change the answer:\n%s", got.out)
	}
	s.damageCache(func(path string) bool { return strings.HasPrefix(filepath.Base(path), "proxy-") },
		func(b []byte) []byte { b[len(b)/2] ^= 0x40; return b })
	s.want(s.run("marry", "day", "--to", "out"), 0, "written: A001_married.mov, in sync")
}

// damageCache changes what is kept of recordings, and what is known of a
// native engine. It returns in how many files.
func (s *shoot) damageCache(which func(path string) bool, damage func(b []byte) []byte) (n int) {
	s.t.Helper()
	err := filepath.WalkDir(s.cache, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() || !which(path) {
			return err
		}
		b, err := os.ReadFile(path)
		if err != nil || len(b) == 0 {
			return err
		}
		n++
		return os.WriteFile(path, damage(b), 0o600)
	})
	if err != nil {
		s.t.Fatal(err)
	}
	return n
}

// SIGTERM, as a system that shuts down sends it, ends a run as Ctrl-C does.
func TestTerminated(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("Windows has no signal that a test can send")
	}
	s := newShoot(t)
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	cmd := exec.CommandContext(ctx, "earshot", "marry", s.day, "--to", s.path("out"), "--cache", s.cache, "--fresh")
	cmd.Cancel = func() error { return cmd.Process.Signal(syscall.SIGTERM) }
	var said bytes.Buffer
	cmd.Stderr = writerFunc(func(b []byte) (int, error) {
		stop() // as soon as it says anything
		return said.Write(b)
	})
	_ = cmd.Run()
	if got := cmd.ProcessState.ExitCode(); got != 130 {
		t.Errorf("status %d, want 130; it said %s", got, said.String())
	}
	s.wantFiles("out")
}

type writerFunc func(b []byte) (int, error)

func (f writerFunc) Write(b []byte) (int, error) { return f(b) }

// A disk that fills under standard output is a failure, not a success.
func TestFullStandardOutput(t *testing.T) {
	s := newShoot(t)
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Skip("no device that is always full here")
	}
	defer full.Close()
	var said bytes.Buffer
	cmd := exec.Command("earshot", "pair", "--json", s.day, "--cache", s.cache)
	cmd.Stdout, cmd.Stderr = full, &said
	_ = cmd.Run()
	if cmd.ProcessState.ExitCode() != 1 || !strings.Contains(said.String(), "write standard output") {
		t.Errorf("status %d; it said %s", cmd.ProcessState.ExitCode(), said.String())
	}
}

// Words that a file says of itself do not steer the terminal of who reads the
// report.
func TestReportStaysOnItsLines(t *testing.T) {
	s := newShoot(t)
	s.want(s.run("marry", "day", "--to", "out"), 0)
	b, err := os.ReadFile(s.path("out/report.json"))
	if err != nil || !json.Valid(b) {
		t.Errorf("report.json is not whole: %v", err)
	}
	if b, err = os.ReadFile(s.path("out/report.txt")); err != nil || bytes.ContainsAny(b, "\x1b\x00\r") {
		t.Errorf("report.txt: %v, %q", err, b)
	}
}
