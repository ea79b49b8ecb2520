package mediatest

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"testing"
	"time"

	"earshot/internal/fault"
	"earshot/internal/media"
)

// makeNumbered writes a clip of numbered frames.
func (s *suite) makeNumbered(t *testing.T, c numberedClip) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "n."+c.ending)
	if err := s.engine.Encode(t.Context(), c.encode(path)); err != nil {
		t.Fatal(err)
	}
	if c.turned {
		movie, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		turn(t, movie)
		if err := os.WriteFile(path, movie, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return path
}

func (s *suite) stillsOf(t *testing.T, req media.Stills) []media.Still {
	t.Helper()
	var out []media.Still
	if err := s.engine.Stills(t.Context(), req, func(f media.Still) error { out = append(out, f); return nil }); err != nil {
		t.Fatal(err)
	}
	return out
}

// eachNumbered runs fn for every kind of clip that the engine takes.
func (s *suite) eachNumbered(t *testing.T, fn func(t *testing.T, c numberedClip)) {
	for i, c := range numberedClips() {
		if (s.fake && !c.fake) || (testing.Short() && i%4 != 0) {
			continue
		}
		t.Run(c.name, func(t *testing.T) { fn(t, c) })
	}
}

// stills asks for frames at many moments and reads their numbers.
func (s *suite) stills(t *testing.T) {
	s.eachNumbered(t, func(t *testing.T, c numberedClip) {
		path := s.makeNumbered(t, c)
		info := s.probe(t, path)
		times := c.times()
		if !s.fake && !strings.HasPrefix(c.name, "avi in") { // AVI's decoding times say nothing of when they show
			sameTimes(t, "ffprobe's times", shownTimes(t, path, info.Zero), times, c.within)
		}
		last := len(times) - 1
		in := 2 * max(c.within, 1e-6) // just into a frame, wherever the container's clock has it
		moments := []float64{-5, times[1] - 0.001, times[last] + in, math.Inf(1)}
		for _, k := range []int{last / 2, last * 3 / 4} {
			moments = append(moments, times[k]+in, (times[k]+times[k+1])/2)
		}
		for _, at := range moments {
			got := s.stillsOf(t, media.Stills{Path: path, Info: &info, At: at, Before: 3, After: 4, Width: 80})
			checkStills(t, got, times, at, 3, 4, c.within)
			for _, f := range got {
				if r := decodeJPEG(t, f.JPEG).Bounds(); r.Dx() != 80 || r.Dy() != 60 {
					t.Errorf("at %g: the picture is %d by %d", at, r.Dx(), r.Dy())
				}
			}
		}
		one := s.stillsOf(t, media.Stills{Path: path, At: times[last/2] + in})
		if checkStills(t, one, times, times[last/2]+in, 0, 0, c.within); len(one) == 1 {
			if r := decodeJPEG(t, one[0].JPEG).Bounds(); r.Dx() != numberedW || r.Dy() != numberedH {
				t.Errorf("as it is: %d by %d", r.Dx(), r.Dy())
			}
			again := s.stillsOf(t, media.Stills{Path: path, Info: &info, At: one[0].At}) // its own time leads to it
			checkStills(t, again, times, times[last/2]+in, 0, 0, c.within)
			if !s.fake && (c.at != nil || c.container == "mpegts") {
				alike(t, path, last/2, one[0].JPEG, 0.99)
			}
		}
		if all := s.stillsOf(t, media.Stills{Path: path, Info: &info, Before: 5000, After: 5000, Width: 80}); len(all) != len(times) {
			t.Errorf("%d frames in all, want %d", len(all), len(times))
		}
	})
	s.refusedStills(t)
}

func (s *suite) refusedStills(t *testing.T) {
	path := s.makeNumbered(t, numberedClips()[0])
	stop := errors.New("stop here")
	calls := 0
	if err := s.engine.Stills(t.Context(), media.Stills{Path: path, After: 5}, func(media.Still) error { calls++; return stop }); err != stop || calls != 1 {
		t.Errorf("got error %v after %d calls, want the function's own after one", err, calls)
	}
	sound := s.make(t, recording{ending: "wav", container: "wav", sound: "pcm_s16le", rate: 8000, ch: 1})
	unreadable(t, "stills", sound, s.engine.Stills(t.Context(), media.Stills{Path: sound}, func(media.Still) error { return nil }))
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := s.engine.Stills(ctx, media.Stills{Path: path}, func(media.Still) error { return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("with a cancelled context: got error %v", err)
	}
}

// checkStills wants the numbered frames around at, each at its time.
func checkStills(t *testing.T, got []media.Still, times []float64, at float64, before, after int, within float64) {
	t.Helper()
	within = max(within, 1.1e-6)
	shows := max(0, sort.SearchFloat64s(times, at+within)-1)
	first := max(0, shows-before)
	if want := min(len(times), shows+after+1) - first; len(got) != want {
		t.Errorf("at %g: %d frames, want %d", at, len(got), want)
		return
	}
	for i, f := range got {
		k := first + i
		if math.Abs(f.At-times[k]) > within || f.Shows != (k == shows) {
			t.Errorf("at %g: frame %d begins at %.6f and shows is %v, want %.6f and %v", at, k, f.At, f.Shows, times[k], k == shows)
		}
		if k+1 < len(times) && math.Abs(f.Until-times[k+1]) > within || f.Until <= f.At {
			t.Errorf("at %g: frame %d begins at %.6f and shows until %.6f", at, k, f.At, f.Until)
		}
		if n := numberOf(decodeJPEG(t, f.JPEG)); n != k {
			t.Errorf("at %g: frame %d was given for frame %d", at, n, k)
		}
	}
}

func sameTimes(t *testing.T, what string, got, want []float64, within float64) {
	t.Helper()
	if got == nil {
		return
	}
	if len(got) != len(want) {
		t.Errorf("%s: %d of them, want %d", what, len(got), len(want))
		return
	}
	for i := range got {
		if math.Abs(got[i]-want[i]) > max(within, 1.1e-6) {
			t.Errorf("%s: number %d is %.6f, want %.6f", what, i, got[i], want[i])
			return
		}
	}
}

// shownTimes are the times of all frames as Debian's ffprobe decodes them, in
// seconds from zero; nil where there is none.
func shownTimes(t *testing.T, path string, zero float64) []float64 {
	t.Helper()
	out, err := exec.Command("ffprobe", "-v", "error", "-select_streams", "v:0", "-show_frames",
		"-show_entries", "frame=best_effort_timestamp_time", "-of", "json", "file:"+path).Output()
	if errors.Is(err, exec.ErrNotFound) && os.Getenv("EARSHOT_REFERENCE") != "1" {
		return nil
	}
	var doc struct {
		Frames []struct {
			Time string `json:"best_effort_timestamp_time"`
		}
	}
	if err == nil {
		err = json.Unmarshal(out, &doc)
	}
	if err != nil {
		t.Fatal(err)
	}
	times := []float64{}
	for i, f := range doc.Frames {
		v, err := strconv.ParseFloat(f.Time, 64)
		switch {
		case err == nil:
			times = append(times, v-zero)
		case i < 2:
			t.Fatal(err)
		default: // some streams give the last none: it follows as the one before did
			times = append(times, 2*times[i-1]-times[i-2])
		}
	}
	return times
}

// cameraStills asks for frames of real clips: the times are ffprobe's.
func (s *suite) cameraStills(t *testing.T) {
	for _, name := range []string{"grid_s2_swwp2s.mpg", "iphone4s_portrait.MOV", "iphone4s_sideways_vfr.mov", "iphone6s_rotated_metadata_tracks.mov",
		"nasa_13013_speech_two_streams.mp4", "quicktime2010_vfr_audio_edit_list.mov", "hevc.mp4", "hevc.ts", "reordered.mpg"} {
		t.Run(name, func(t *testing.T) {
			path := fixture(t, name)
			info := s.probe(t, path)
			times := shownTimes(t, path, info.Zero)
			if times == nil {
				t.Skip("no ffprobe")
			}
			for _, k := range []int{0, 1, len(times) / 2, len(times) - 1} {
				got := s.stillsOf(t, media.Stills{Path: path, Info: &info, At: times[k], Before: 2, After: 2})
				if n := min(k, 2) + 1 + min(len(times)-1-k, 2); len(got) != n {
					t.Fatalf("at %g: %d frames, want %d", times[k], len(got), n)
				}
				for i, f := range got {
					at := k - min(k, 2) + i
					if math.Abs(f.At-times[at]) > 1.1e-6 || f.Shows != (at == k) {
						t.Errorf("frame %d begins at %.6f, want %.6f", at, f.At, times[at])
					}
				}
				if k == len(times)/2 && name != "reordered.mpg" { // whose test colours lie beyond RGB's, which a PNG cuts off
					alike(t, path, k, got[min(k, 2)].JPEG, 0.99)
				}
			}
		})
	}
}

// alike holds a frame against the one that Debian's ffmpeg counts off from the
// start, by the structural similarity that its filter ssim computes. It must be
// above least.
func alike(t *testing.T, path string, k int, jpeg []byte, least float64) {
	t.Helper()
	if _, err := exec.LookPath("ffmpeg"); err != nil && os.Getenv("EARSHOT_REFERENCE") != "1" {
		return
	}
	dir := t.TempDir()
	ours, exact := filepath.Join(dir, "ours.jpg"), filepath.Join(dir, "exact.png")
	if err := os.WriteFile(ours, jpeg, 0o600); err != nil {
		t.Fatal(err)
	}
	ffmpeg := func(args ...string) string {
		out, err := exec.Command("ffmpeg", append([]string{"-hide_banner", "-nostdin"}, args...)...).CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		return string(out)
	}
	likeness := func(picture string) float64 {
		out := ffmpeg("-i", exact, "-i", picture, "-filter_complex", "[0:v]format=yuv420p[a];[1:v]format=yuv420p[b];[a][b]ssim", "-f", "null", "-")
		_, rest, _ := strings.Cut(out, "All:")
		text, _, _ := strings.Cut(rest, " ")
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatalf("no likeness in %s", out)
		}
		return v
	}
	size := decodeJPEG(t, jpeg).Bounds()
	ffmpeg("-i", path, "-map", "0:v:0", "-vf", "select='eq(n,"+strconv.Itoa(k)+")',scale="+strconv.Itoa(size.Dx())+":"+strconv.Itoa(size.Dy()), "-frames:v", "1", exact)
	if is := likeness(ours); !(is > least) {
		t.Errorf("frame %d is like ffmpeg's by %.4f, want above %g", k, is, least)
	}
}

// small copies numbered clips and looks for their frames at their times.
func (s *suite) small(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	s.eachNumbered(t, func(t *testing.T, c numberedClip) {
		path := s.makeNumbered(t, c)
		out := filepath.Join(t.TempDir(), "small.mp4")
		told := 0.0
		if err := s.engine.Small(t.Context(), media.Small{Path: path, Out: out, Height: 91, Progress: func(done float64) {
			if done < told || done > 1 {
				t.Errorf("done is %g after %g", done, told)
			}
			told = done
		}}); err != nil {
			t.Fatal(err)
		}
		if told != 1 {
			t.Errorf("at the end %g is done", told)
		}
		want := c.times()
		want[0] = 0
		info, all := s.smallCopy(t, out, want, c.within)
		for k, f := range all {
			if n := numberOf(decodeJPEG(t, f.JPEG)); n != k {
				t.Fatalf("frame %d of the copy is the clip's %d", k, n)
			}
		}
		if p := info.Pictures[0]; p.Width != 120 || p.Height != 90 {
			t.Errorf("the copy is %d by %d", p.Width, p.Height)
		}
		if c.at == nil && c.container != "mpegts" && !c.fake {
			return // its times and frames are known
		}
		for range 10 {
			at := want[len(want)-1] * random.Float64()
			got := s.stillsOf(t, media.Stills{Path: out, Info: &info, At: at})
			if len(got) != 1 {
				t.Fatalf("%d frames at %g", len(got), at)
			}
			k := sort.SearchFloat64s(want, at) - 1
			if n := numberOf(decodeJPEG(t, got[0].JPEG)); n != k && math.Abs(want[k+1]-at) > max(c.within, 2e-6) {
				t.Errorf("at %g the copy shows frame %d, want %d", at, n, k)
			}
		}
	})
}

// smallCopy checks a small copy's make and times, and returns all its frames.
func (s *suite) smallCopy(t *testing.T, path string, want []float64, within float64) (media.Info, []media.Still) {
	t.Helper()
	info := s.probe(t, path)
	if len(info.Pictures) != 1 || len(info.Sounds) != 0 || len(info.Others) != 0 || info.Container != "mp4" {
		t.Fatalf("the copy holds %+v", info)
	}
	if p := info.Pictures[0]; p.Codec != "h264" || p.Rotation != 0 || p.Width%2 != 0 || p.Height%2 != 0 || p.Reordered {
		t.Errorf("the copy's picture is %+v", p)
	}
	all := s.stillsOf(t, media.Stills{Path: path, Info: &info, After: len(want) + 10})
	times := make([]float64, len(all))
	for i, f := range all {
		times[i] = f.At
	}
	sameTimes(t, "the copy's times", times, want, within)
	if s.fake {
		return info, all
	}
	if p := info.Pictures[0]; p.Profile != "Constrained Baseline" || p.Level <= 0 || p.Level > 40 {
		t.Errorf("the copy is of profile %q, level %d", p.Profile, p.Level)
	}
	if shown := shownTimes(t, path, info.Zero); shown != nil {
		sameTimes(t, "ffprobe's times of the copy", shown, want, within)
		quick(t, path, want)
	}
	return info, all
}

// quick wants the index in front and a key frame within each second.
func quick(t *testing.T, path string, times []float64) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if moov, mdat := strings.Index(string(b), "moov"), strings.Index(string(b), "mdat"); moov < 0 || moov > mdat {
		t.Errorf("the index lies at %d, the frames at %d", moov, mdat)
	}
	out, err := exec.Command("ffprobe", "-v", "error", "-show_entries", "packet=flags:stream=pix_fmt", "-of", "csv=p=0", path).Output()
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Fields(string(out))
	if len(lines) != len(times)+1 || lines[len(times)] != "yuv420p" {
		t.Fatalf("ffprobe lists %d packets, want %d, and %s", len(lines)-1, len(times), lines[len(lines)-1])
	}
	key := 0
	for i, flags := range lines[:len(times)] {
		if strings.HasPrefix(flags, "K") {
			key = i
		} else if times[i]-times[key] > 1 {
			t.Fatalf("no key frame from %g to %g s", times[key], times[i])
		}
	}
}

// cameraSmall copies real clips: the times are ffprobe's.
func (s *suite) cameraSmall(t *testing.T) {
	for _, name := range []string{"iphone4s_portrait.MOV", "iphone4s_sideways_vfr.mov", "quicktime2010_vfr_audio_edit_list.mov", "hevc.ts", "reordered.mpg"} {
		t.Run(name, func(t *testing.T) {
			path := fixture(t, name)
			info := s.probe(t, path)
			times := shownTimes(t, path, info.Zero)
			if times == nil {
				t.Skip("no ffprobe")
			}
			out := filepath.Join(t.TempDir(), "small.mp4")
			if err := s.engine.Small(t.Context(), media.Small{Path: path, Info: &info, Out: out, Height: 180}); err != nil {
				t.Fatal(err)
			}
			times[0] = 0
			copied, _ := s.smallCopy(t, out, times, 0)
			was, is := info.Pictures[0], copied.Pictures[0]
			w, h := was.Width, was.Height
			if was.Rotation%180 != 0 {
				w, h = h, w
			}
			if is.Height > 180 || is.Height != min(180, h) || math.Abs(float64(is.Width)-float64(is.Height*w)/float64(h)) > 2 {
				t.Errorf("the copy is %d by %d, the clip as seen %d by %d", is.Width, is.Height, w, h)
			}
		})
	}
}

// smallErrors checks that nothing is left behind, and nothing is overwritten.
func (s *suite) smallErrors(t *testing.T) {
	path := s.makeNumbered(t, numberedClips()[0])
	dir := t.TempDir()
	there := filepath.Join(dir, "there.mp4")
	if err := os.WriteFile(there, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, out := range []string{there, filepath.Join(dir, "no", "out.mp4")} {
		if err := s.engine.Small(t.Context(), media.Small{Path: path, Out: out}); fault.KindOf(err) != fault.Unwritable {
			t.Errorf("writing to %s: got error %v, want kind Unwritable", filepath.Base(out), err)
		}
	}
	if b, err := os.ReadFile(there); err != nil || string(b) != "mine" {
		t.Errorf("the file that was there holds %q, %v", b, err)
	}
	out := filepath.Join(dir, "out.mp4")
	sound := s.make(t, recording{ending: "wav", container: "wav", sound: "pcm_s16le", rate: 8000, ch: 1})
	unreadable(t, "small", sound, s.engine.Small(t.Context(), media.Small{Path: sound, Out: out}))
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if err := s.engine.Small(ctx, media.Small{Path: path, Out: out}); !errors.Is(err, context.Canceled) {
		t.Errorf("with a cancelled context: got error %v", err)
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) != 1 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// cancelSmall stops a copy that has begun, and looks for what is left of it.
func (s *suite) cancelSmall(t *testing.T) {
	path := s.makeNumbered(t, numberedClips()[1])
	for range 20 {
		out := filepath.Join(t.TempDir(), "out.mp4")
		ctx, stop := context.WithCancel(t.Context())
		go func() {
			for ctx.Err() == nil {
				if _, err := os.Stat(out); err == nil {
					stop()
				}
				time.Sleep(time.Millisecond)
			}
		}()
		err := s.engine.Small(ctx, media.Small{Path: path, Out: out})
		stop()
		if err == nil {
			continue // it was done before it was seen to have begun
		}
		if !errors.Is(err, context.Canceled) {
			t.Errorf("got error %v, want a cancelled context's", err)
		}
		if _, err := os.Stat(out); err == nil {
			t.Error("half a copy was left behind")
		}
		return
	}
	t.Error("it could not be cancelled")
}

// brokenPictures shows and copies what there is of a clip that is cut off.
func (s *suite) brokenPictures(t *testing.T) {
	c := numberedClips()[0]
	c.args = []string{"-movflags", "+faststart", "-g", "10"}
	whole, err := os.ReadFile(s.makeNumbered(t, c))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "cut.mp4")
	if err := os.WriteFile(path, whole[:len(whole)*3/4], 0o600); err != nil {
		t.Fatal(err)
	}
	got := s.stillsOf(t, media.Stills{Path: path, At: 3.9, Before: 1})
	if len(got) != 2 || !got[1].Shows || got[1].At > 3.5 || got[1].At < 1.5 {
		t.Fatalf("%d frames before the cut", len(got))
	}
	if n := numberOf(decodeJPEG(t, got[0].JPEG)); n != int(math.Round(got[0].At*25)) {
		t.Errorf("frame %d was given at %g", n, got[0].At)
	}
	out := filepath.Join(t.TempDir(), "out.mp4")
	if err := s.engine.Small(t.Context(), media.Small{Path: path, Out: out}); err != nil {
		t.Fatal(err)
	}
	if copied := s.stillsOf(t, media.Stills{Path: out, At: 3.9}); math.Abs(copied[0].At-got[1].At) > 1.1e-6 {
		t.Errorf("the copy ends with the frame at %g, want %g", copied[0].At, got[1].At)
	}
	nothing := filepath.Join(t.TempDir(), "nothing.mp4") // its index is there, of its frames none
	mdat := strings.Index(string(whole), "mdat")
	if err := os.WriteFile(nothing, whole[:mdat+8], 0o600); err != nil {
		t.Fatal(err)
	}
	unreadable(t, "stills", nothing, s.engine.Stills(t.Context(), media.Stills{Path: nothing, At: 1}, func(media.Still) error { return nil }))
	bad := filepath.Join(t.TempDir(), "bad.mp4")
	unreadable(t, "small", nothing, s.engine.Small(t.Context(), media.Small{Path: nothing, Out: bad}))
	if _, err := os.Stat(bad); err == nil {
		t.Error("a copy of nothing was left behind")
	}
}
