package ffmpeg

import (
	"bytes"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"earshot/internal/media"
)

// The usual pattern of H.264, stored I P b b, P b b and shown I b b P, b b P;
// a packet that shows nothing stays behind the one before it.
func TestTurns(t *testing.T) {
	for _, tt := range []struct {
		name          string
		stored, shown []int64
		want          []int
	}{
		{"as stored", []int64{10, 20, 30}, []int64{10, 20, 30}, []int{0, 1, 2}},
		{"b pictures", []int64{10, 20, 30, 40, 50, 60, 70}, []int64{10, 30, 40, 20, 60, 70, 50}, []int{0, 3, 1, 2, 6, 4, 5}},
		{"one shows nothing", []int64{10, 20, 30, 40}, []int64{10, 40, 20}, []int{0, 2, 3, 1}},
		{"nothing is shown", []int64{10, 20}, nil, []int{0, 1}},
		{"a picture of no packet", []int64{10, 20}, []int64{99, 10, 20}, []int{0, 1}},
		{"empty", nil, nil, []int{}},
	} {
		if got := turnsOf(tt.stored, tt.shown); !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
	}
}

// Pictures stored in another order than shown come out in their turn, a tick of
// 40 ms each, from zero on: out of AVI, which does not say when they are shown,
// and out of MPEG-2 programme streams, which say it of some.
func TestPicturesAreShownInTurn(t *testing.T) {
	for _, choice := range []string{"native", "embedded"} {
		t.Run(choice, func(t *testing.T) {
			if _, err := exec.LookPath("ffprobe"); err != nil && choice == "native" && os.Getenv("EARSHOT_REFERENCE") == "" {
				t.Skip("no ffprobe here")
			}
			if choice == "embedded" && testing.Short() {
				t.Skip("the embedded engine takes its time")
			}
			e, err := Open(Options{Choice: choice, CacheDir: testCache(t)})
			if err != nil {
				t.Fatal(err)
			}
			defer e.Close()
			for _, tt := range []struct{ clip, container, codec string }{
				{"reordered.avi", "mov", "pcm_s24le"},
				{"reordered.avi", "mp4", "aac"},
				{"reordered-mpeg4.avi", "mov", "pcm_s24le"},
				{"reordered.mpg", "mov", "pcm_s24le"},
			} {
				t.Run(tt.clip+" to "+tt.container, func(t *testing.T) {
					clip := filepath.Join("..", "mediatest", "testdata", tt.clip)
					info, err := e.Probe(t.Context(), clip)
					if err != nil {
						t.Fatal(err)
					}
					out := filepath.Join(t.TempDir(), "out."+tt.container)
					err = e.Render(t.Context(), media.Plan{Clip: clip, Info: info, Out: out, Container: tt.container, Scratch: true,
						Sound: media.Track{Codec: tt.codec, Rate: 48000, Channels: 1}}, bytes.NewReader(make([]byte, 4*48000)))
					if err != nil {
						t.Fatal(err)
					}
					at := shownAt(t, e.(*Engine), out)
					if len(at) != 40 {
						t.Fatalf("%d pictures are shown, want 40", len(at))
					}
					for i, s := range at {
						if math.Abs(s-0.04*float64(i)) > 1e-4 {
							t.Errorf("picture %d is shown at %.4f s, want %.4f", i, s, 0.04*float64(i))
						}
					}
				})
			}
		})
	}
}

// shownAt returns when the pictures of a file are shown, in the order in which
// a decoder gives them out.
func shownAt(t *testing.T, e *Engine, path string) (at []float64) {
	t.Helper()
	out := byLine{do: func(line []byte) error {
		if s, err := strconv.ParseFloat(string(bytes.TrimRight(line, ", ")), 64); err == nil {
			at = append(at, s)
		}
		return nil
	}}
	ws := words("-v", "error", "-select_streams", "v", "-show_entries", "frame=pts_time", "-of", "csv=p=0")
	res, err := e.run(t.Context(), job{tool: "ffprobe", words: append(ws, input(path)...), stdout: out.write}, "")
	if err != nil || res.code != 0 {
		t.Fatal(err, res)
	}
	return at
}
