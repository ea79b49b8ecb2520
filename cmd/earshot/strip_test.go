package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/cookiejar"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

// The film of the strip's tests: every frame is another pattern, and one is
// white, while a clap is heard.
const (
	filmWide, filmHigh = 320, 180
	filmFrames         = 150
	flash              = 77 // the white frame
)

// films are how cameras and phones write it, as words for ffmpeg after its
// inputs: raw frames at 25 a second, and sound.
var films = []struct {
	name, rate string
	words      string
	from       string // another film that this is made of
	before     string // words before the input
}{
	{name: "reordered.mp4", rate: "25", words: "-c:v libx264 -preset veryfast -x264-params scenecut=0:b-adapt=0:bframes=3:keyint=250 -c:a aac"},
	{name: "hevc.mp4", rate: "24000/1001", words: "-c:v libx265 -preset ultrafast -x265-params lossless=1:keyint=250:scenecut=0:bframes=4:b-adapt=0:log-level=error -tag:v hvc1 -c:a aac"},
	{name: "uneven.mp4", rate: "25", words: "-vf setpts='(N+0.3*mod(N*N\\,3))/25/TB' -fps_mode passthrough -enc_time_base 1/90000 -c:v libx264 -preset veryfast -c:a aac"},
	{name: "drop.mov", rate: "30000/1001", words: "-timecode 01:00:00;00 -c:v libx264 -preset veryfast -g 15 -c:a pcm_s16le"},
	{name: "card.mts", rate: "25", words: "-c:v libx264 -preset veryfast -x264-params scenecut=0:bframes=2:keyint=12 -c:a ac3 -f mpegts -mpegts_m2ts_mode 1"},
	{name: "edit.mov", from: "reordered.mp4", before: "-ss 1.3", words: "-c copy"},
	{name: "turned.mp4", from: "drop.mov", words: "-c:v copy -c:a aac -metadata:s:v rotate=90"},
}

// makeFilms writes films into a folder.
func makeFilms(t *testing.T, dir string) {
	t.Helper()
	raw := filepath.Join(t.TempDir(), "frames.yuv")
	if err := os.WriteFile(raw, patterns(), 0o666); err != nil {
		t.Fatal(err)
	}
	for _, f := range films {
		args := strings.Fields("-v error -y -f rawvideo -pix_fmt yuv420p -s 320x180 -r " + f.rate + " -i " + raw)
		if f.from != "" {
			args = append(strings.Fields("-v error -y "+f.before), "-i", filepath.Join(dir, f.from))
		} else {
			at := fmt.Sprintf("(%d.5/(%s))", flash, f.rate)
			args = append(args, "-f", "lavfi", "-i", "aevalsrc=0.9*exp(-200*abs(t-"+at+"))*sin(9000*t)+0.01*sin(700*t):s=48000", "-shortest")
		}
		args = append(append(args, strings.Fields(strings.ReplaceAll(f.words, "'", ""))...), filepath.Join(dir, f.name))
		if said, err := exec.Command("ffmpeg", args...).CombinedOutput(); err != nil {
			if strings.Contains(f.words, "libx265") && bytes.Contains(said, []byte("nknown encoder")) {
				continue
			}
			t.Fatalf("%s: %v: %s", f.name, err, said)
		}
	}
}

// patterns are the film's frames, yuv420p.
func patterns() []byte {
	rng := rand.New(rand.NewPCG(5, 7))
	out := bytes.Repeat([]byte{128}, filmFrames*filmWide*filmHigh*3/2)
	for n := range filmFrames {
		luma := out[n*filmWide*filmHigh*3/2:][:filmWide*filmHigh]
		for y := 0; y < filmHigh; y += 20 {
			for x := 0; x < filmWide; x += 20 {
				v := byte(40 + rng.IntN(120))
				if y >= filmHigh/2 {
					v = byte(60 + x/4)
				}
				if n == flash {
					v = byte(200 + x%60/5) // below full scale, where nothing is clipped
				}
				for dy := range 20 {
					for dx := range 20 {
						luma[(y+dy)*filmWide+x+dx] = v
					}
				}
			}
		}
	}
	return out
}

// A strip is what the desk answers.
type strip struct {
	Frames []struct {
		At    float64 `json:"at_s"`
		Until float64 `json:"until_s"`
		JPEG  []byte  `json:"jpeg"`
	}
	Middle int
}

// An asker asks a desk without a browser.
type asker struct {
	t      *testing.T
	base   string
	client http.Client
}

func newAsker(t *testing.T, d *deskRun) *asker {
	t.Helper()
	jar, _ := cookiejar.New(nil)
	a := &asker{t: t, client: http.Client{Jar: jar}}
	a.base, _, _ = strings.Cut(d.url, "/enter")
	res, err := a.client.Get(d.url)
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	return a
}

func (a *asker) get(path string, v any) {
	a.t.Helper()
	res, err := a.client.Get(a.base + path)
	if err != nil {
		a.t.Fatal(err)
	}
	defer res.Body.Close()
	if err := json.NewDecoder(res.Body).Decode(v); err != nil || res.StatusCode != http.StatusOK {
		a.t.Fatalf("%s: %s, %v", path, res.Status, err)
	}
}

// read waits until a desk has read so many recordings.
func (a *asker) read(recordings int) (s deskState) {
	a.t.Helper()
	for {
		a.get("/api/state", &s)
		n := 0
		for _, r := range s.Recordings {
			if r.State == "failed" {
				a.t.Fatalf("%s cannot be read", r.Name)
			} else if r.State == "read" {
				n++
			}
		}
		if n == recordings && !s.Work.Busy {
			return s
		}
		time.Sleep(50 * time.Millisecond)
	}
}

// times are when frames are shown by ffprobe, seconds from the clip's zero: a
// movie's own; of a transport stream, which has none, its first picture.
func times(t *testing.T, path string) (out []float64) {
	t.Helper()
	said, err := exec.Command("ffprobe", "-v", "error", "-select_streams", "v:0", "-show_entries", "frame=best_effort_timestamp_time:format=start_time", "-of", "json", path).Output()
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	var found struct {
		Frames []struct {
			At string `json:"best_effort_timestamp_time"`
		}
		Format struct {
			Start string `json:"start_time"`
		}
	}
	if err := json.Unmarshal(said, &found); err != nil {
		t.Fatal(err)
	}
	zero, err := strconv.ParseFloat(found.Format.Start, 64)
	if err != nil {
		t.Fatal(err)
	}
	if strings.HasSuffix(path, ".mts") {
		if zero, err = strconv.ParseFloat(found.Frames[0].At, 64); err != nil {
			t.Fatal(err)
		}
	}
	for _, f := range found.Frames {
		at, err := strconv.ParseFloat(f.At, 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, at-zero)
	}
	return out
}

// decoded is a file's frames by ffmpeg, rgb24, one after the other.
func decoded(t *testing.T, stdin []byte, words ...string) []byte {
	t.Helper()
	cmd := exec.Command("ffmpeg", append(append([]string{"-v", "error"}, words...), "-map", "0:v:0", "-fps_mode", "passthrough", "-pix_fmt", "rgb24", "-f", "rawvideo", "-")...)
	cmd.Stdin = bytes.NewReader(stdin)
	var told bytes.Buffer
	cmd.Stderr = &told
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, told.String())
	}
	return out
}

// alike is the structural similarity of the frames of two films of a size, by
// ffmpeg's ssim filter.
func alike(t *testing.T, wide, high int, a, b []byte) (out []float64) {
	t.Helper()
	dir := t.TempDir()
	args := []string{"-v", "error"}
	for name, raw := range map[string][]byte{"a": a, "b": b} {
		if err := os.WriteFile(filepath.Join(dir, name), raw, 0o666); err != nil {
			t.Fatal(err)
		}
		args = append(args, "-f", "rawvideo", "-pix_fmt", "rgb24", "-s", fmt.Sprintf("%dx%d", wide, high), "-i", name)
	}
	cmd := exec.Command("ffmpeg", append(args, "-lavfi", "[0]format=gbrp[a];[1]format=gbrp[b];[a][b]ssim=stats_file=said", "-f", "null", "-")...)
	cmd.Dir = dir
	if said, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, said)
	}
	said, err := os.ReadFile(filepath.Join(dir, "said"))
	if err != nil {
		t.Fatal(err)
	}
	for _, found := range regexp.MustCompile(`All:(\S+)`).FindAllSubmatch(said, -1) {
		v, err := strconv.ParseFloat(string(found[1]), 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	return out
}

// The strip's frames are the clip's own, at the times that ffprobe tells, at its
// beginning, in its middle, at a clap and at its end; with either engine.
func TestStripIsTrue(t *testing.T) {
	needs(t, "ffmpeg", "ffprobe")
	folder := t.TempDir()
	makeFilms(t, folder)
	made, err := filepath.Glob(filepath.Join(folder, "*.m*"))
	if err != nil || len(made) < len(films)-1 {
		t.Fatalf("%q, %v", made, err)
	}
	for _, engine := range []string{"native", "embedded"} {
		t.Run(engine, func(t *testing.T) {
			a := newAsker(t, startDesk(t, t.TempDir(), "--engine", engine, folder))
			for _, r := range a.read(len(made)).Recordings {
				t.Run(r.Name, func(t *testing.T) { testStrips(t, a, r.ID, filepath.Join(folder, r.Name)) })
			}
		})
	}
}

// testStrips looks at the strips of one clip.
func testStrips(t *testing.T, a *asker, id, path string) {
	when := times(t, path)
	last := len(when) - 1
	clap := last - (filmFrames - 1 - flash) // cut at the front, if at all
	places := []int{0, last / 2, clap, last}
	var shown []byte // JPEG pictures
	var which []int  // of the clip's frames
	for _, k := range places {
		at := when[k] + 0.01
		var s strip
		a.get(fmt.Sprintf("/api/recordings/%s/strip?at=%.6f&n=11&w=%d", id, at, filmWide), &s)
		from, to := max(0, k-5), min(last, k+5)
		if len(s.Frames) != to-from+1 || s.Middle != k-from {
			t.Fatalf("at frame %d: %d frames, the middle %d; want %d and %d", k, len(s.Frames), s.Middle, to-from+1, k-from)
		}
		for i, f := range s.Frames {
			if math.Abs(f.At-when[from+i]) > 1e-5 || from+i < last && math.Abs(f.Until-when[from+i+1]) > 1e-5 || f.Until <= f.At {
				t.Errorf("frame %d: from %.6f to %.6f s, ffprobe says %.6f", from+i, f.At, f.Until, when[from+i])
			}
			shown, which = append(shown, f.JPEG...), append(which, from+i)
		}
		if k == clap {
			wantWhite(t, s.Frames[s.Middle].JPEG)
		}
	}
	first, err := jpeg.DecodeConfig(bytes.NewReader(shown))
	if err != nil {
		t.Fatal(err)
	}
	wide, high := first.Width, first.Height
	got := decoded(t, shown, "-f", "mjpeg", "-i", "-")
	own := decoded(t, nil, "-i", path)
	size := wide * high * 3
	if len(own) != len(when)*size || len(got) != len(which)*size {
		t.Fatalf("%d and %d bytes of %d and %d frames", len(own), len(got), len(when), len(which))
	}
	var right, next []byte
	for _, k := range which {
		right = append(right, own[k*size:][:size]...)
		k = min(k+1, last)
		next = append(next, own[k*size:][:size]...)
	}
	least, most := 1.0, 0.0
	for n, v := range alike(t, wide, high, got, right) {
		if least = min(least, v); !(v > 0.99) {
			t.Errorf("frame %d: %.4f alike", which[n], v)
		}
	}
	for n, v := range alike(t, wide, high, got, next) {
		if which[n] < last {
			most = max(most, v)
		}
	}
	t.Logf("%d frames: at least %.4f alike, the next ones at most %.4f", len(which), least, most)
	if !(most < 0.98) {
		t.Errorf("frames that follow each other are %.4f alike: this cannot tell them apart", most)
	}
}

// wantWhite wants that a picture is the flash.
func wantWhite(t *testing.T, picture []byte) {
	t.Helper()
	img, err := jpeg.Decode(bytes.NewReader(picture))
	if err != nil {
		t.Fatal(err)
	}
	size := img.Bounds()
	if r, _, _, _ := img.At(size.Dx()/2, size.Dy()/3).RGBA(); r>>8 < 200 {
		t.Errorf("while the clap is heard the picture is %d of 255", r>>8)
	}
}
