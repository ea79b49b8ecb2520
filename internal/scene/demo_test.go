package scene

import (
	"math"
	"path"
	"strings"
	"testing"
)

func mustDemo(t *testing.T) *Scene {
	t.Helper()
	s, err := Demo()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestDemo checks that the demo holds what its comment says.
func TestDemo(t *testing.T) {
	s := mustDemo(t)
	mates := map[string]int{}
	for _, p := range s.Truth() {
		if !p.Together() {
			continue
		}
		clip, sound := &s.Clips[p.Clip], &s.Sounds[p.Sound]
		mates[clip.Name]++
		mates[sound.Name]++
		if clip.Length < 10 || clip.Length > 40 {
			t.Errorf("%s lasts %g s, want 10 to 40", clip.Name, clip.Length)
		}
		if ppm := math.Abs(p.Drift) * 1e6; ppm < 40 || ppm > 60 {
			t.Errorf("%s: clocks %g ppm apart, want 40 to 60", clip.Name, ppm)
		}
		note := s.Notes[clip.Name]
		if forgotten := strings.Contains(note, "forgotten"); forgotten != (len(p.ClipClaps) == 0) {
			t.Errorf("%s (%q) has %d claps", clip.Name, note, len(p.ClipClaps))
		}
		if early := strings.Contains(note, "early"); early != (p.To < clip.Length-5) || p.From > 0 {
			t.Errorf("%s (%q) is covered from %g to %g of %g s", clip.Name, note, p.From, p.To, clip.Length)
		}
		if p.Speech < 8 {
			t.Errorf("%s: %g s of speech in common, want 8 at least", clip.Name, p.Speech)
		}
	}
	for _, d := range append(s.Clips, s.Sounds...) {
		if alone := strings.Contains(s.Notes[d.Name], "alone"); alone != (mates[d.Name] == 0) {
			t.Errorf("%s (%q) has %d mates", d.Name, s.Notes[d.Name], mates[d.Name])
		}
	}
	if len(mates) != 4+3 {
		t.Errorf("%d recordings have mates, want four clips and three sounds", len(mates))
	}
}

// TestDemoVoices checks that every embedded line is spoken once and that they
// stay small.
func TestDemoVoices(t *testing.T) {
	s := mustDemo(t)
	said := map[string]int{}
	for _, u := range s.Talk {
		said[u.Excerpt.Name]++
	}
	files, err := voices.ReadDir("demo/voice")
	if err != nil {
		t.Fatal(err)
	}
	size := int64(0)
	for _, f := range files {
		info, err := f.Info()
		if err != nil {
			t.Fatal(err)
		}
		size += info.Size()
		if name := strings.TrimSuffix(path.Base(f.Name()), ".wav"); said[name] != 1 {
			t.Errorf("%s is said %d times", name, said[name])
		}
	}
	if size > 1_200_000 {
		t.Errorf("the voices take %d bytes, want 1.2 MB at most", size)
	}
}

// TestDemoLevels checks the phone's sound against set practice: dialogue peaks
// between -12 and -6 dBFS, a quiet room's floor between -70 and -50 dBFS.
func TestDemoLevels(t *testing.T) {
	s := mustDemo(t)
	d := &s.Sounds[1] // no clap in it
	sound := s.Render(d, 16000)
	most := 0.0
	for _, v := range sound {
		most = max(most, math.Abs(float64(v)))
	}
	if peak := 20 * math.Log10(most); peak < -12 || peak > -6 {
		t.Errorf("%s peaks at %.1f dBFS", d.Name, peak)
	}
	quietest := math.Inf(1)
	for _, v := range frameLevels(&Excerpt{Rate: 16000, Samples: sound}) {
		quietest = min(quietest, v)
	}
	if floor := 20 * math.Log10(quietest); floor < -70 || floor > -50 {
		t.Errorf("%s: floor at %.1f dBFS", d.Name, floor)
	}
}

// TestClapFrame checks that hands meet in the picture on the frame in which
// the clap is heard, within half a frame (20 ms).
func TestClapFrame(t *testing.T) {
	s := mustDemo(t)
	claps := 0
	for i := range s.Clips {
		clip := s.Clips[i]
		l := newLesson(s, i, 0)
		clip.Noise, clip.Floor, clip.AGC = Quiet, 0, false
		sound := s.Render(&clip, 48000)
		touching := false
		for n := range clip.Film.frames(clip.Length) {
			_, _, touch := l.hands(clip.Clock.World(float64(n) / 25))
			if touch && !touching {
				claps++
				at := float64(n) / 25
				if heard := onset(sound, 48000, at); math.Abs(heard-at) > 0.02 {
					t.Errorf("%s: hands meet at frame %d = %.3f s, the clap is heard at %.4f s", clip.Name, n, at, heard)
				}
			}
			touching = touch
		}
	}
	if claps != 3 {
		t.Errorf("hands meet %d times, want 3", claps)
	}
}

// onset returns where sound within half a second of at first passes a tenth of
// its peak there, seconds.
func onset(sound []float32, rate int, at float64) float64 {
	from, to := int((at-0.5)*float64(rate)), int((at+0.5)*float64(rate))
	most := 0.0
	for _, v := range sound[from:to] {
		most = max(most, math.Abs(float64(v)))
	}
	for i, v := range sound[from:to] {
		if math.Abs(float64(v)) > most/10 {
			return float64(from+i) / float64(rate)
		}
	}
	return math.NaN()
}

// TestClapPicture checks the drawn frames themselves: the gap between the
// hands is open one frame before they meet and closed when they do.
func TestClapPicture(t *testing.T) {
	s := mustDemo(t)
	film := s.Clips[0].Film
	truth := s.Truth()[0]
	n := int(truth.ClipClaps[0] * 25)
	picture := make([]byte, film.Width*film.Height*3/2)
	skin := looks[0].skin
	inGap := func(n int) bool { // is the point between the hands skin?
		film.Draw(n, picture)
		luma := float64(picture[int(meetY)*film.Width+int(bodyX)])
		return math.Abs(luma-skin.y) < 4
	}
	if inGap(n-1) || !inGap(n) {
		t.Errorf("hands at frames %d and %d: touching %v and %v, want false and true", n-1, n, inGap(n-1), inGap(n))
	}
}
