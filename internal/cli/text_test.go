package cli

import (
	"context"
	"math"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"
	"unicode"

	"earshot/internal/app"
	"earshot/internal/fault"
	"earshot/internal/shoot"
)

func TestPairText(t *testing.T) {
	d := day([]string{"a.mov", "anna.wav", "b.mov", "ben.wav", "c.mov", "carla.wav", "walk.wav", "broken.wav"})
	got := strings.Join(pairText(sink{width: 80}, d), "\n")
	want := `  clip   sound             offset       drift  verdict
  a.mov  anna.wav      +0:12.3457   +41.2 ppm  sure
      heard in 38 of 40 places; leftover 0.3 ms
      chance of error: less than 1 in 10,000
  b.mov  ben.wav    -1:02:03.0000           -  unsure
      another place fits nearly as well
      the sound covers 0:00 to 1:00, 1:30 to 1:06:40
      chance of error: about 3 in 10
      or b.mov with anna.wav at +0:08.0000; for it: its match stands 13
      times above the noise; against it: its place in the order is another
  c.mov  carla.wav     +0:00.0000  -241.3 ppm  sure

  offset: where in the sound the clip begins, minutes:seconds
  drift: by how much the sound's clock ran faster than the camera's

  alone
  walk.wav (sound)
      no clip heard it

  could not be read
  broken.wav
      read sound: no audio stream

3 takes: 2 sure, 1 unsure; 1 recording alone; 1 could not be read.`
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestMarryText(t *testing.T) {
	got := strings.Join(marryText(sink{width: 80}, marryResult(), false), "\n")
	for _, want := range []string{
		"written: a_married.mov, in sync, 0.41 ms late, seam at most 0.90 ms",
		"no good sound from 0:50 to 1:01: scratch there",
		"not married: unsure: another place fits nearly as well",
		"failed\n      write clip",
		"not married: the clip there was married otherwise",
		"1 clip not written, for another one stands there; to replace, add --again\n",
		"1 finished clip in \"married\"\n",
		"1 unsure take not married; to have them too, add --also unsure\n",
		"\nReport: married/report.txt",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("lacks %q:\n%s", want, got)
		}
	}
}

// Whatever files are called, lines stay whole, within the width, and the
// columns stand under each other.
func TestNastyNames(t *testing.T) {
	for _, width := range []int{narrowWidth, 80, 100, wideWidth} {
		for turn := range nasty() {
			names := append(append([]string{}, nasty()[turn:]...), nasty()[:turn]...)
			lines := pairText(sink{width: width}, day(names))
			verdict := cells(strings.TrimSuffix(lines[0], "verdict"))
			seen := 0
			for _, line := range lines {
				if n := cells(line); n > width {
					t.Errorf("width %d: line of %d cells: %q", width, n, line)
				}
				for _, r := range line {
					if unicode.IsControl(r) || r == '\u202e' || r == unicode.ReplacementChar {
						t.Errorf("control character in %q", line)
					}
				}
				for _, word := range []string{"sure", "unsure"} {
					if before, ok := strings.CutSuffix(line, "  "+word); ok {
						seen++
						if cells(before)+2 != verdict {
							t.Errorf("width %d: verdict at cell %d, want %d: %q", width, cells(before)+2, verdict, line)
						}
					}
				}
			}
			if seen != 3 {
				t.Errorf("width %d: %d verdicts seen, want 3", width, seen)
			}
		}
	}
}

// A failed recording's name stands once, above the reason.
func TestFailureNamesTheFileOnce(t *testing.T) {
	err := gaveUp(fault.Unreadable).Error()
	if got := failure(shoot.Failed{Path: "mic\n2.m4a", Error: err}); got != "context deadline exceeded" {
		t.Errorf("got %q", got)
	}
}

func TestSameNameInTwoFolders(t *testing.T) {
	name := names([]string{"card1/a.mov", "card2/a.mov", "card2/b.mov"})
	if got := name("card1/a.mov") + " " + name("card2/a.mov") + " " + name("card2/b.mov"); got != "card1/a.mov card2/a.mov b.mov" {
		t.Errorf("names are %s", got)
	}
}

func TestCut(t *testing.T) {
	for _, tt := range []struct {
		s     string
		width int
		want  string
	}{
		{"a_long_name_0001.mov", 12, "a_long…1.mov"},
		{"short.mov", 12, "short.mov"},
		{"日本語日本語", 7, "日本…語"},
		{"abc", 2, "…"},
		{"abc", 0, ""},
	} {
		if got := cut(tt.s, tt.width); got != tt.want {
			t.Errorf("cut(%q, %d) = %q, want %q", tt.s, tt.width, got, tt.want)
		}
	}
}

// Against Unicode's own table as Python carries it (unicodedata,
// EastAsianWidth.txt).
func TestWidthAgainstPython(t *testing.T) {
	python, err := exec.LookPath("python3")
	if err != nil {
		if os.Getenv("EARSHOT_REFERENCE") == "1" {
			t.Fatal("python3 is not installed")
		}
		t.Skip("python3 is not installed")
	}
	out, err := exec.Command(python, "-c", `
import unicodedata as u
print("".join(("W" if u.east_asian_width(chr(c)) in "WF" else "-") if u.category(chr(c)) not in ("Cn", "Cs") else "?" for c in range(0x110000)))`).Output()
	if err != nil {
		t.Fatal(err)
	}
	wrong := 0
	for r := rune(' '); r < 0x110000; r++ {
		if !unicode.IsPrint(r) || out[r] == '?' {
			continue
		}
		if wide(r) != (out[r] == 'W') {
			wrong++
			t.Logf("U+%04X: wide = %v, Python's table says %c", r, wide(r), out[r])
		}
	}
	// Versions of Unicode differ by a few signs a year.
	if wrong > 40 {
		t.Errorf("%d characters differ", wrong)
	}
}

func TestCells(t *testing.T) {
	for s, want := range map[string]int{
		"abc": 3, "日本": 4, "e\u0301": 1, "🎙️": 2, "👍🏽": 2, "👩‍🎤": 2, "": 0, "…": 1, "ｱ": 1, "한글": 4,
	} {
		if got := cells(s); got != want {
			t.Errorf("cells(%q) = %d, want %d", s, got, want)
		}
	}
}

func TestUnits(t *testing.T) {
	for _, tt := range []struct{ got, want string }{
		{place(12.34568), "+0:12.3457"},
		{place(-0.00001), "+0:00.0000"},
		{place(-59.99996), "-1:00.0000"},
		{place(3599.99999), "+1:00:00.0000"},
		{ppm(41.23), "+41.2 ppm"},
		{ppm(-0.04), "+0.0 ppm"},
		{lateness(40), "40.0 ms late"},
		{lateness(-0.41), "0.41 ms early"},
		{lateness(0.01), "right on"},
		{millis(0.004), "under 0.01 ms"},
		{within(0, "ms"), ""},
		{within(math.Inf(1), "ms"), ""},
		{within(1e-9, "ms"), " (give or take 0.001 ms)"},
		{within(60, "ppm"), " (give or take 120 ppm)"},
		{left(3 * time.Second), "a few seconds left"},
		{left(42 * time.Second), "about 40 s left"},
		{left(92 * time.Second), "about 1½ min left"},
		{left(125 * time.Second), "about 2 min left"},
		{left(11*time.Minute + 40*time.Second), "about 12 min left"},
		{left(83 * time.Minute), "about 1 h 25 min left"},
		{size(1_234_000_000), "1.2 GB"},
	} {
		if tt.got != tt.want {
			t.Errorf("got %q, want %q", tt.got, tt.want)
		}
	}
}

func TestSeamPicture(t *testing.T) {
	var w []app.SeamPoint
	for i, late := range []float64{1.8, 1.2, 0.6, 0, -0.6, -1.2, -1.8, -1.8} {
		w = append(w, app.SeamPoint{At: 30 + 60*float64(i), Late: late})
	}
	got := strings.Join(seamPicture(w, 40), "\n")
	want := `      2 ms late |o
                |  o
                |    o
              0 |------o---------
                |        o
                |          o
     2 ms early |            o  o
                 0:30        7:30`
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if seamPicture(w[:1], 40) != nil {
		t.Error("one window has a picture")
	}
}

func TestProofText(t *testing.T) {
	got := strings.Join(proofText(sink{width: 80}, goodProof()), "\n")
	for _, want := range []string{
		"in sync  a.mov\n",
		"lies     0.41 ms late (give or take 0.1 ms), in the middle of the take",
		"drift    +0.3 ppm (give or take 0.4 ppm), 0.14 ms later from end to end",
		"heard    in 9 of 10 places, against track 2",
		"within  ITU-R BT.1359-1, detectability   45 ms early to 125 ms late",
		"beyond  EBU R37, each production stage    5 ms early to  15 ms late",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("lacks %q:\n%s", want, got)
		}
	}
}

// Steps that take turns are announced once each, away from a terminal.
func TestProgressOfStepsInTurns(t *testing.T) {
	at := time.Date(2026, 1, 1, 12, 0, 0, 0, time.UTC)
	b := bar{now: clock(&at)}
	lines := 0
	for range 10 {
		for _, step := range []string{"pairing", "lining up"} {
			if _, due := b.tell(app.Progress{Step: step}, false, 80); due {
				lines++
			}
		}
		at = at.Add(time.Second)
	}
	if lines != 2 {
		t.Errorf("%d lines, want 2", lines)
	}
}

// A clock that is set by hand.
func clock(at *time.Time) func() time.Time { return func() time.Time { return *at } }

func TestProgressWhenPiped(t *testing.T) {
	at := time.Date(2026, 1, 1, 12, 0, 0, 0, time.UTC)
	b := bar{now: clock(&at)}
	var lines []string
	for i := range 100 {
		if line, due := b.tell(app.Progress{Step: "reading", File: "x/a\nb.mov", Done: float64(i), Total: 100}, false, 80); due {
			lines = append(lines, line)
		}
		at = at.Add(time.Second)
	}
	want := []string{
		`reading  a\nb.mov    0 %`,
		`reading  a\nb.mov   30 %  about 1 min left`,
		`reading  a\nb.mov   60 %  about 40 s left`,
		`reading  a\nb.mov   90 %  about 10 s left`,
	}
	if strings.Join(lines, "\n") != strings.Join(want, "\n") {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(lines, "\n"), strings.Join(want, "\n"))
	}
}

// On a terminal there is one line, never wider than the terminal, and it is
// gone before anything else is said.
func TestProgressOnATerminal(t *testing.T) {
	var errs strings.Builder
	at := time.Date(2026, 1, 1, 12, 0, 0, 0, time.UTC)
	term := newTerminal(&strings.Builder{}, &errs, func(string) string { return "" })
	term.err.live, term.err.width, term.bar.now = true, 60, clock(&at)
	for i := range 20 {
		term.progress(app.Progress{Step: "marrying", File: nasty()[i%len(nasty())], Done: float64(i), Total: 20})
		at = at.Add(time.Second)
	}
	term.say("done")
	for _, part := range strings.Split(errs.String(), "\r") {
		if cells(part) >= 60 {
			t.Errorf("%d cells on a terminal of 60: %q", cells(part), part)
		}
	}
	if !strings.HasSuffix(errs.String(), "\r"+strings.Repeat(" ", 59)+"\rdone\n") {
		t.Errorf("the progress line is not wiped: %q", errs.String()[max(0, errs.Len()-80):])
	}
	if strings.ContainsAny(errs.String(), "\x1b\a") {
		t.Error("progress steers the terminal")
	}
}

func TestColourOnlyOnATerminal(t *testing.T) {
	_, stdout, stderr := run(context.Background(), &fake{pair: &app.PairResult{Document: day(nasty())}}, "pair", here(t))
	if strings.Contains(stdout+stderr, "\x1b") {
		t.Error("colour in a pipe")
	}
	if s := (sink{colour: true}).paint(good, "sure"); s != "\x1b[32msure\x1b[0m" {
		t.Errorf("painted %q", s)
	}
}
