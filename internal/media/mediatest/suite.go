package mediatest

import (
	"bytes"
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"earshot/internal/fault"
	"earshot/internal/media"
)

// Suite is what every engine must do. open returns an engine that the suite
// closes. Parts that need real codecs are left out for the fake.
func Suite(t *testing.T, open func(t *testing.T) media.Engine) {
	s := &suite{engine: open(t)}
	t.Cleanup(func() { s.engine.Close() })
	about, err := s.engine.About(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	s.fake = about.Name == "fake"
	t.Run("clicks", s.clicks)
	t.Run("names", s.names)
	t.Run("unreadable", s.unreadable)
	t.Run("refusals", s.refusals)
	t.Run("cancel", s.cancel)
	t.Run("render", s.render)
	t.Run("render errors", s.renderErrors)
	t.Run("mono", s.mono)
	t.Run("stills", s.stills)
	t.Run("small", s.small)
	t.Run("small errors", s.smallErrors)
	if !s.fake {
		t.Run("camera files", s.cameraFiles)
		t.Run("damaged", s.damaged)
		t.Run("broken wav", s.brokenWAV)
		t.Run("held back sound", s.heldBack)
		t.Run("timecode", s.timecode)
		t.Run("gapless", s.gapless)
		t.Run("amr", s.amr)
		t.Run("spliced", s.spliced)
		t.Run("hevc", s.hevc)
		t.Run("stills of cameras", s.cameraStills)
		t.Run("small of cameras", s.cameraSmall)
		t.Run("small cancelled", s.cancelSmall)
		t.Run("pictures cut off", s.brokenPictures)
		t.Run("look", s.look)
	}
}

type suite struct {
	engine media.Engine
	fake   bool
}

// make encodes r into a new file.
func (s *suite) make(t *testing.T, r recording) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "x."+r.ending)
	if err := s.engine.Encode(t.Context(), r.encode(path)); err != nil {
		t.Fatal(err)
	}
	return path
}

func (s *suite) probe(t *testing.T, path string) media.Info {
	t.Helper()
	info, err := s.engine.Probe(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	return info
}

func (s *suite) decode(t *testing.T, req media.Decode) []float32 {
	t.Helper()
	var x []float32
	err := s.engine.Decode(t.Context(), req, func(b []float32) error { x = append(x, b...); return nil })
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// clicks decodes every kind of recording whole, as mono at 16 kHz, and a
// window of it, and looks for the click.
func (s *suite) clicks(t *testing.T) {
	for i, r := range table() {
		if s.fake && (r.codecs || !exact(r.sound)) {
			continue // the fake has no codecs that could go wrong
		}
		if testing.Short() && i%4 != 0 {
			continue
		}
		t.Run(r.name, func(t *testing.T) { s.click(t, r, s.make(t, r)) })
	}
}

func (s *suite) click(t *testing.T, r recording, path string) {
	info := s.probe(t, path)
	if len(info.Sounds) != 1 || info.HasPicture() != (r.picture != "") {
		t.Fatalf("found %d sounds and %d pictures", len(info.Sounds), len(info.Pictures))
	}
	sound := info.Sounds[0]
	if d := sound.Duration - clickLength; math.Abs(d) > 0.1 && !r.codecs || math.Abs(info.Duration-clickLength) > 0.1 && !r.codecs {
		t.Errorf("durations are %.3f and %.3f s, want %g", sound.Duration, info.Duration, clickLength)
	}
	_, at := clickRecording(r.rate, r.ch)
	truth := (float64(at) + r.late) / float64(r.rate) // seconds
	within := r.within
	if within == 0 {
		within = 1
	}
	check := func(what string, x []float32, rate int, from float64) {
		t.Helper()
		got := findClick(x, rate, r.rate)
		if off := got - (truth-from)*float64(rate); !(math.Abs(off) <= within) {
			t.Errorf("%s: click %+.2f samples off at %d Hz, want within %g", what, off, rate, within)
		}
	}
	whole := s.decode(t, media.Decode{Path: path, Info: &info})
	for c := range sound.Channels {
		if sound.Channels == 6 && c == 3 {
			continue // the low frequency channel passes no click
		}
		check("whole", channel(whole, sound.Channels, c), sound.Rate, 0)
	}
	check("mono", s.decode(t, media.Decode{Path: path, Info: &info, Rate: 16000, Mono: true}), 16000, 0)
	const from, to = 0.9, 2.1
	window := s.decode(t, media.Decode{Path: path, Info: &info, From: from, To: to})
	if n, want := len(window)/sound.Channels, int(math.Round(to*float64(sound.Rate)))-int(math.Round(from*float64(sound.Rate))); n != want {
		t.Errorf("window holds %d samples, want %d", n, want)
	}
	check("window", channel(window, sound.Channels, 0), sound.Rate, math.Round(from*float64(sound.Rate))/float64(sound.Rate))
	if exact(r.sound) && len(whole) >= int(math.Round(to*float64(sound.Rate)))*sound.Channels {
		first := int(math.Round(from*float64(sound.Rate))) * sound.Channels
		if !slices.Equal(window, whole[first:first+len(window)]) {
			t.Error("the window differs from the same part of the whole")
		}
	}
}

func exact(codec string) bool {
	return strings.HasPrefix(codec, "pcm") || codec == "flac" || codec == "alac"
}

// names tries every kind of awkward name for reading and writing.
func (s *suite) names(t *testing.T) {
	dir := t.TempDir()
	r := recording{name: "wav", ending: "wav", container: "wav", sound: "pcm_s16le", rate: 8000, ch: 1}
	for _, name := range []string{"-i.wav", " lead.wav", "a\nb.wav", "c:d.wav", "%03d.wav", "it's \"q\".wav", "Zoë 声.wav",
		"a|b.wav", "x;y.wav", "back\\slash.wav", "pipe:0", "file:x.wav", "#frag?.wav", "none"} {
		path := filepath.Join(dir, name)
		if err := s.engine.Encode(t.Context(), r.encode(path)); err != nil {
			if os.PathSeparator == '\\' {
				continue // a name that Windows does not have
			}
			t.Errorf("%q: %v", name, err)
			continue
		}
		info := s.probe(t, path)
		if n := len(s.decode(t, media.Decode{Path: path, Info: &info})); n != clickLength*8000 {
			t.Errorf("%q: %d samples", name, n)
		}
	}
	link := filepath.Join(dir, "link.wav")
	if err := os.Symlink(filepath.Join(dir, "-i.wav"), link); err == nil {
		s.probe(t, link)
	}
	t.Chdir(dir)
	if info := s.probe(t, "-i.wav"); len(info.Sounds) != 1 {
		t.Error("relative name not found")
	}
}

func (s *suite) unreadable(t *testing.T) {
	dir := t.TempDir()
	put := func(name, text string) string {
		p := filepath.Join(dir, name)
		if err := os.WriteFile(p, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return p
	}
	list := put("list.m3u8", "#EXTM3U\n#EXT-X-TARGETDURATION:5\n#EXTINF:5,\n"+put("a.ts", "x")+"\n#EXT-X-ENDLIST\n")
	for _, p := range []string{filepath.Join(dir, "missing.wav"), dir, put("empty.mp4", ""), list,
		put("text.mp4", strings.Repeat("this is a shopping list\n", 100)), put("text.txt", strings.Repeat("eggs, milk\n", 100)),
		put("short.wav", "RIFF"), put("moov.mov", "\x00\x00\x00\x14ftypqt  \x00\x00\x00\x00qt  \x00\x00\x00\x08mdat")} {
		_, err := s.engine.Probe(t.Context(), p)
		unreadable(t, "probe", p, err)
		err = s.engine.Decode(t.Context(), media.Decode{Path: p}, func([]float32) error { return nil })
		unreadable(t, "decode", p, err)
		_, err = s.engine.PictureDigest(t.Context(), p)
		unreadable(t, "digest", p, err)
		err = s.engine.Stills(t.Context(), media.Stills{Path: p}, func(media.Still) error { return nil })
		unreadable(t, "stills", p, err)
		out := filepath.Join(dir, "small.mp4")
		unreadable(t, "small", p, s.engine.Small(t.Context(), media.Small{Path: p, Out: out}))
		if _, err := os.Stat(out); err == nil {
			t.Errorf("%q: a small copy was left behind", p)
		}
	}
}

// unreadable wants an error of that kind that names the file.
func unreadable(t *testing.T, what, path string, err error) {
	t.Helper()
	if fault.KindOf(err) != fault.Unreadable || !strings.Contains(err.Error(), filepath.Base(path)) {
		t.Errorf("%s %q: got error %v, want one of kind Unreadable that names it", what, path, err)
	}
}

// refusals checks that an error of the caller's function comes back as it is,
// and that a stream that is not there is said so.
func (s *suite) refusals(t *testing.T) {
	path := s.make(t, recording{ending: "wav", container: "wav", sound: "pcm_s16le", rate: 48000, ch: 2})
	stop := errors.New("stop here")
	calls := 0
	err := s.engine.Decode(t.Context(), media.Decode{Path: path}, func([]float32) error { calls++; return stop })
	if err != stop || calls != 1 {
		t.Errorf("got error %v after %d calls, want the function's own after one", err, calls)
	}
	err = s.engine.Decode(t.Context(), media.Decode{Path: path, Stream: 1}, func([]float32) error { return nil })
	unreadable(t, "decode", path, err)
	if err := s.engine.Encode(t.Context(), media.Encode{Out: path, Sound: &media.EncodeSound{Codec: "pcm_s16le", Rate: 8000, Channels: 1,
		Samples: bytes.NewReader(make([]byte, 400))}}); fault.KindOf(err) != fault.Unwritable {
		t.Errorf("writing over a file: got error %v, want kind Unwritable", err)
	}
	after := media.Decode{Path: path, From: clickLength + 10, To: clickLength + 11}
	if n := len(s.decode(t, after)); n != 0 {
		t.Errorf("%d samples from after the end", n)
	}
	if info := s.probe(t, path); info.Duration != clickLength {
		t.Errorf("the file that was there lasts %g s now", info.Duration)
	}
}

// cancel stops a decode from within.
func (s *suite) cancel(t *testing.T) {
	path := s.make(t, recording{ending: "wav", container: "wav", sound: "pcm_f32le", rate: 192000, ch: 6})
	ctx, stop := context.WithCancel(t.Context())
	err := s.engine.Decode(ctx, media.Decode{Path: path}, func([]float32) error { stop(); return nil })
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got error %v, want a cancelled context's", err)
	}
	if _, err := s.engine.Probe(ctx, path); !errors.Is(err, context.Canceled) {
		t.Errorf("probe with a cancelled context: got error %v", err)
	}
	if _, err := s.engine.Probe(t.Context(), path); err != nil {
		t.Errorf("after a cancelled job: %v", err)
	}
}

// mono checks the weights of the mix: 1/n for every channel.
func (s *suite) mono(t *testing.T) {
	const rate, n, channels = 48000, 48000, 4
	x := make([]float32, n*channels)
	for i := range n {
		for c := range channels {
			x[i*channels+c] = float32(c+1) / 8 // a level for each channel
		}
	}
	path := filepath.Join(t.TempDir(), "four.wav")
	err := s.engine.Encode(t.Context(), media.Encode{Out: path, Container: "wav",
		Sound: &media.EncodeSound{Codec: "pcm_f32le", Rate: rate, Channels: channels, Samples: bytes.NewReader(Bytes(x))}})
	if err != nil {
		t.Fatal(err)
	}
	got := s.decode(t, media.Decode{Path: path, Mono: true})
	want := float32(1+2+3+4) / 8 / 4
	if len(got) != n || math.Abs(float64(got[n/2]-want)) > 1e-6 {
		t.Errorf("got %d samples of %g, want %d of %g", len(got), got[n/2], n, want)
	}
}

// camera is a small clip with a click in its scratch sound.
var camera = recording{name: "camera", ending: "mov", container: "mov", picture: "h264", sound: "aac", rate: 48000, ch: 2}

// plan marries path to good sound of the given rate.
func (s *suite) plan(t *testing.T, path, out string) media.Plan {
	p := media.Plan{Clip: path, Info: s.probe(t, path), Out: out, Container: "mov", Scratch: true,
		Sound: media.Track{Codec: "pcm_s24le", Rate: 48000, Channels: 1, Title: "Good sound"}}
	if filepath.Ext(out) == ".mp4" {
		p.Container, p.Sound.Codec = "mp4", "aac"
	}
	return p
}

// married renders path and checks picture, sound and scratch of the result.
func (s *suite) married(t *testing.T, path, out string) media.Info {
	t.Helper()
	plan := s.plan(t, path, out)
	good, at := clickRecording(48000, 1)
	if err := s.engine.Render(t.Context(), plan, bytes.NewReader(Bytes(good))); err != nil {
		t.Fatal(err)
	}
	info := s.probe(t, out)
	if len(info.Sounds) != 1+len(plan.Info.Sounds) || len(info.Pictures) != len(plan.Info.Pictures) {
		t.Fatalf("the result holds %d sounds and %d pictures", len(info.Sounds), len(info.Pictures))
	}
	for i, sound := range info.Sounds {
		if sound.Default != (i == 0) {
			t.Errorf("sound %d is enabled: %v", i, sound.Default)
		}
	}
	if info.Sounds[0].Title != "Good sound" || (len(info.Sounds) > 1 && !strings.HasPrefix(info.Sounds[1].Title, "Scratch")) {
		t.Errorf("titles are wrong: %+v", info.Sounds)
	}
	for i, p := range info.Pictures {
		if was := plan.Info.Pictures[i]; math.Abs(p.Start-was.Start) > 1e-4 || p.Rotation != was.Rotation {
			t.Errorf("picture %d starts at %g, turned by %d; was %g and %d", i, p.Start, p.Rotation, was.Start, was.Rotation)
		}
	}
	x := s.decode(t, media.Decode{Path: out, Info: &info})
	if off := findClick(x, 48000, 48000) - float64(at); math.Abs(off) > 1 {
		t.Errorf("click in the good sound is %+.2f samples off", off)
	}
	if plan.Sound.Codec == "pcm_s24le" {
		for i := range good {
			if d := math.Abs(float64(x[i] - good[i])); d > 1.0/(1<<23) {
				t.Fatalf("good sound differs at sample %d: %g, want %g", i, x[i], good[i])
			}
		}
	}
	s.samePicture(t, path, out)
	if !s.fake {
		enabled(t, out, info)
	}
	return info
}

func (s *suite) samePicture(t *testing.T, a, b string) {
	t.Helper()
	var sums [2]string
	for i, p := range []string{a, b} {
		sum, err := s.engine.PictureDigest(t.Context(), p)
		if err != nil {
			t.Fatal(err)
		}
		sums[i] = sum
	}
	if sums[0] != sums[1] || len(sums[0]) != 64 {
		t.Errorf("pictures differ: %q and %q", sums[0], sums[1])
	}
}

// render marries clips in every container and looks for both clicks.
func (s *suite) render(t *testing.T) {
	for i, r := range table() {
		if r.picture == "" || (s.fake && r.name != "mov aac") || (testing.Short() && i%4 != 0) {
			continue
		}
		t.Run(r.name, func(t *testing.T) {
			path := s.make(t, r)
			out := filepath.Join(t.TempDir(), "out.mov")
			info := s.married(t, path, out)
			before := s.probe(t, path)
			was := findClick(s.decode(t, media.Decode{Path: path, Info: &before, Mono: true}), before.Sounds[0].Rate, r.rate)
			is := findClick(s.decode(t, media.Decode{Path: out, Info: &info, Stream: 1, Mono: true}), info.Sounds[1].Rate, r.rate)
			if math.Abs(is-was) > 1 {
				t.Errorf("the scratch moved by %+.2f samples", is-was)
			}
			if st, err := os.Stat(out); err != nil || st.Mode().Perm()&0o400 == 0 {
				t.Errorf("mode of the result: %v, %v", st.Mode(), err)
			}
		})
	}
	t.Run("mp4", func(t *testing.T) { s.married(t, s.make(t, camera), filepath.Join(t.TempDir(), "out.mp4")) })
}

// renderErrors checks that nothing is left behind, and nothing is overwritten.
func (s *suite) renderErrors(t *testing.T) {
	path := s.make(t, camera)
	dir := t.TempDir()
	good := Bytes(make([]float32, 48000))
	there := filepath.Join(dir, "there.mov")
	if err := os.WriteFile(there, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := s.engine.Render(t.Context(), s.plan(t, path, there), bytes.NewReader(good)); fault.KindOf(err) != fault.Unwritable {
		t.Errorf("writing over a file: got error %v, want kind Unwritable", err)
	}
	if b, err := os.ReadFile(there); err != nil || string(b) != "mine" {
		t.Errorf("the file that was there holds %q, %v", b, err)
	}
	broken := errors.New("the source broke")
	out := filepath.Join(dir, "out.mov")
	err := s.engine.Render(t.Context(), s.plan(t, path, out), iotest.ErrReader(broken))
	if !errors.Is(err, broken) {
		t.Errorf("got error %v, want the source's own", err)
	}
	err = s.engine.Render(t.Context(), s.plan(t, path, filepath.Join(dir, "no", "out.mov")), bytes.NewReader(good))
	if fault.KindOf(err) != fault.Unwritable {
		t.Errorf("writing into a folder that is not there: got error %v, want kind Unwritable", err)
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) != 1 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}
