package scene

import (
	"io"

	"earshot/internal/frame"
)

// A Film is the moving picture of a clip. Frame n is shown from n/Rate on, in
// seconds of the clip's own clock.
type Film struct {
	Width, Height int // even
	Rate          frame.Rate
	Codec         string
	Args          []string // further words for the engine's encoder
	// Draw writes frame n into picture: yuv420p, Width·Height·3/2 bytes, that
	// hold the frame drawn before.
	Draw func(n int, picture []byte)
}

// plainFilm is the smallest picture that moves: a light bar that walks across
// once a second.
func plainFilm() *Film {
	f := &Film{Width: 64, Height: 36, Rate: frame.Rate{Num: 25, Den: 1}, Codec: "mpeg4"}
	f.Draw = func(n int, picture []byte) {
		luma := picture[:f.Width*f.Height]
		for i := range picture {
			picture[i] = 128
		}
		at := n % 25 * f.Width / 25
		for i := range luma {
			luma[i] = 60
			if x := i % f.Width; x >= at && x < at+4 {
				luma[i] = 220
			}
		}
	}
	return f
}

// frames returns the number of frames a clip of the given length has.
func (f *Film) frames(length float64) int { return int(length*f.Rate.Float() + 0.5) }

// reader yields the film's frames one after the other.
func (f *Film) reader(length float64) io.Reader {
	return &filmReader{film: f, left: f.frames(length), picture: make([]byte, f.Width*f.Height*3/2)}
}

type filmReader struct {
	film    *Film
	next    int
	left    int
	picture []byte
	rest    []byte
}

func (r *filmReader) Read(p []byte) (int, error) {
	if len(r.rest) == 0 {
		if r.left == 0 {
			return 0, io.EOF
		}
		r.film.Draw(r.next, r.picture)
		r.next, r.left, r.rest = r.next+1, r.left-1, r.picture
	}
	n := copy(p, r.rest)
	r.rest = r.rest[n:]
	return n, nil
}
