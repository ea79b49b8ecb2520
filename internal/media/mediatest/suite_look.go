package mediatest

import (
	"bytes"
	"image"
	"path/filepath"
	"testing"

	"earshot/internal/frame"
	"earshot/internal/media"
)

// look checks that frames have the colours and the shape that a player shows.
// The clip is of one colour in the matrix of ITU-R BT.709, with pixels a third
// wider than high.
func (s *suite) look(t *testing.T) {
	const w, h = 160, 120
	y, cb, cr := 75, 126, 197 // red 192, green 32, blue 64, by BT.709's item 3 in limited range
	one := append(bytes.Repeat([]byte{byte(y)}, w*h), bytes.Repeat([]byte{byte(cb)}, w*h/4)...)
	one = append(one, bytes.Repeat([]byte{byte(cr)}, w*h/4)...)
	dir := t.TempDir()
	path, copied := filepath.Join(dir, "red.mp4"), filepath.Join(dir, "small.mp4")
	err := s.engine.Encode(t.Context(), media.Encode{Out: path, Container: "mp4",
		Args: []string{"-crf", "1", "-x264-params", "colormatrix=bt709", "-vf", "setsar=4/3"},
		Picture: &media.EncodePicture{Codec: "h264", Width: w, Height: h, Rate: frame.Rate{Num: 25, Den: 1},
			Frames: bytes.NewReader(bytes.Repeat(one, 10))}})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.engine.Small(t.Context(), media.Small{Path: path, Out: copied}); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		path  string
		width int
		want  image.Point
	}{{path, 0, image.Pt(213, 120)}, {path, 80, image.Pt(80, 45)}, {path, 1000, image.Pt(213, 120)}, {copied, 0, image.Pt(214, 120)}} {
		got := s.stillsOf(t, media.Stills{Path: tt.path, At: 0.2, Width: tt.width})
		picture := decodeJPEG(t, got[0].JPEG)
		if size := picture.Bounds().Size(); size != tt.want {
			t.Errorf("%s, at most %d wide: %v, want %v", filepath.Base(tt.path), tt.width, size, tt.want)
		}
		r, g, b, _ := picture.At(20, 20).RGBA()
		for i, v := range []uint32{r >> 8, g >> 8, b >> 8} {
			if d := int(v) - []int{192, 32, 64}[i]; d < -4 || d > 4 {
				t.Errorf("%s: red, green, blue are %d, %d, %d, want 192, 32, 64", filepath.Base(tt.path), r>>8, g>>8, b>>8)
				break
			}
		}
	}
}
