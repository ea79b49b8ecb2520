package mediatest

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/jpeg"
	"testing"

	"earshot/internal/frame"
	"earshot/internal/media"
)

// Numbered frames are four squares wide and three high: a white one, ten that
// give the frame's number in binary, the lowest bit first, and a black one. A
// picture that is turned or mirrored reads as none.
const (
	squaresWide, squaresHigh = 4, 3
	numberBits               = 10
	numberedW, numberedH     = 160, 120
	black, white             = 16, 235 // ITU-R BT.601
)

// numbered makes n numbered frames as yuv420p.
func numbered(n int) []byte {
	var b bytes.Buffer
	for k := range n {
		bits := 1 | k<<1
		for y := range numberedH {
			for x := range numberedW {
				v := byte(black)
				if bits>>(y*squaresHigh/numberedH*squaresWide+x*squaresWide/numberedW)&1 != 0 {
					v = white
				}
				b.WriteByte(v)
			}
		}
		b.Write(bytes.Repeat([]byte{128}, numberedW*numberedH/2))
	}
	return b.Bytes()
}

// numberOf reads a numbered frame; -1 when it is none.
func numberOf(picture image.Image) int {
	r := picture.Bounds()
	bits := 0
	for i := range squaresWide * squaresHigh {
		x, y := i%squaresWide, i/squaresWide
		at := image.Pt(r.Min.X+(2*x+1)*r.Dx()/(2*squaresWide), r.Min.Y+(2*y+1)*r.Dy()/(2*squaresHigh))
		level, _, _, _ := picture.At(at.X, at.Y).RGBA()
		switch level >>= 8; {
		case level >= 225: // full range: white is 255
			bits |= 1 << i
		case level > 30:
			return -1
		}
	}
	if bits&1 == 0 || bits>>(numberBits+1) != 0 {
		return -1
	}
	return bits >> 1
}

// A numberedClip is one kind of clip with numbered frames.
type numberedClip struct {
	name, ending, container, codec string
	rate                           frame.Rate
	frames                         int
	args                           []string
	turned                         bool    // stored a quarter turn off
	at                             timing  // of frame k, seconds from zero; nil goes by the rate
	within                         float64 // seconds that a container's clock may be off; 0: a microsecond
	fake                           bool    // the fake takes it too
}

type timing func(k int) float64

// uneven frames: some longer than others, and a long wait after every fifty.
const unevenFilter = "settb=1/90000,setpts='round(3600*(N+0.3*mod(N,3)+40*floor(N/50)))'"

func uneven(k int) float64 { return (float64(k) + 0.3*float64(k%3) + 40*float64(k/50)) / 25 }

func numberedClips() []numberedClip {
	ntsc := frame.Rate{Num: 30000, Den: 1001}
	long := []string{"-g", "300", "-keyint_min", "300", "-sc_threshold", "0", "-bf", "3"} // key frames 10 s apart
	open := []string{"-g", "30", "-sc_threshold", "0", "-bf", "3", "-x264-params", "open-gop=1:b-adapt=0"}
	kept := []string{"-fps_mode", "passthrough", "-enc_time_base", "1/90000", "-bf", "2", "-vf"}
	later := []string{"-bf", "2", "-vf", "setpts=PTS+5"} // frames
	return []numberedClip{
		{name: "mp4 25", ending: "mp4", container: "mp4", codec: "h264", rate: frame.Rate{Num: 25, Den: 1}, frames: 100, fake: true},
		{name: "mov 29.97 long", ending: "mov", container: "mov", codec: "h264", rate: ntsc, frames: 700, args: long},
		{name: "mp4 59.94 open", ending: "mp4", container: "mp4", codec: "h264", rate: frame.Rate{Num: 60000, Den: 1001}, frames: 200, args: open},
		{name: "mp4 uneven", ending: "mp4", container: "mp4", codec: "h264", rate: frame.Rate{Num: 25, Den: 1}, frames: 200,
			args: append(kept[:len(kept):len(kept)], unevenFilter), at: uneven},
		{name: "mkv uneven", ending: "mkv", container: "mkv", codec: "h264", rate: frame.Rate{Num: 25, Den: 1}, frames: 200,
			args: append(kept[:len(kept):len(kept)], unevenFilter), at: uneven, within: 0.0006},
		{name: "mov late", ending: "mov", container: "mov", codec: "h264", rate: frame.Rate{Num: 25, Den: 1}, frames: 60,
			args: later, at: func(k int) float64 { return float64(k+5) / 25 }},
		{name: "mov turned", ending: "mov", container: "mov", codec: "h264", rate: ntsc, frames: 60, turned: true},
		{name: "ts 29.97 long", ending: "ts", container: "mpegts", codec: "h264", rate: ntsc, frames: 700, args: long, within: 0.000012},
		{name: "ts 50 open", ending: "mts", container: "mpegts", codec: "h264", rate: frame.Rate{Num: 50, Den: 1}, frames: 200, args: open},
		{name: "ts mpeg2", ending: "ts", container: "mpegts", codec: "mpeg2video", rate: ntsc, frames: 200, args: []string{"-bf", "2", "-q:v", "2"}, within: 0.000012},
		{name: "mkv 29.97", ending: "mkv", container: "mkv", codec: "h264", rate: ntsc, frames: 200, args: []string{"-g", "50"}, within: 0.0006},
		{name: "mpg 29.97", ending: "mpg", container: "mpg", codec: "mpeg2video", rate: ntsc, frames: 100, args: []string{"-bf", "2", "-q:v", "2"}, within: 0.000012},
		{name: "avi mjpeg", ending: "avi", container: "avi", codec: "mjpeg", rate: ntsc, frames: 100, args: []string{"-q:v", "2"}},
		{name: "avi in another order", ending: "avi", container: "avi", codec: "mpeg4", rate: frame.Rate{Num: 25, Den: 1}, frames: 100, args: []string{"-bf", "2", "-q:v", "2"}},
	}
}

// encode asks for the clip as a file.
func (c numberedClip) encode(out string) media.Encode {
	e := media.Encode{Out: out, Container: c.container, Args: c.args,
		Picture: &media.EncodePicture{Codec: c.codec, Width: numberedW, Height: numberedH, Rate: c.rate, Frames: bytes.NewReader(numbered(c.frames))}}
	if c.turned { // to be turned back by the file's matrix
		e.Args = append(e.Args[:len(e.Args):len(e.Args)], "-vf", "transpose=cclock")
	}
	return e
}

// times are those of all frames, in seconds from zero.
func (c numberedClip) times() []float64 {
	out := make([]float64, c.frames)
	for k := range out {
		if out[k] = c.rate.Time(frame.Count(k)); c.at != nil {
			out[k] = c.at(k)
		}
	}
	return out
}

// turn sets the matrix of a movie's first track to a quarter turn clockwise
// (ISO/IEC 14496-12, 8.3.2: tkhd, version 0).
func turn(t *testing.T, movie []byte) {
	t.Helper()
	at := bytes.Index(movie, []byte("tkhd"))
	if at < 0 || movie[at+4] != 0 {
		t.Fatal("no track header found")
	}
	matrix := movie[at+44:]
	for i, v := range []int32{0, 1 << 16, 0, -1 << 16, 0, 0, 0, 0, 1 << 30} {
		binary.BigEndian.PutUint32(matrix[4*i:], uint32(v))
	}
}

func decodeJPEG(t *testing.T, b []byte) image.Image {
	t.Helper()
	picture, err := jpeg.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	return picture
}
