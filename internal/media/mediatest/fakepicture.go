package mediatest

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/jpeg"
	"math"

	"earshot/internal/fault"
	"earshot/internal/frame"
	"earshot/internal/media"
)

// pictured reads a file that must hold pictures.
func pictured(op, path string) (File, error) {
	file, err := read(op, path)
	if err == nil && !file.Info.HasPicture() {
		err = &fault.Error{Kind: fault.Unreadable, Op: op, Subject: path, Err: errors.New("it holds no moving pictures"), Hint: "give a clip"}
	}
	return file, err
}

// Stills makes pictures at the file's frame rate, of the frames themselves where
// Picture holds all of them as yuv420p, otherwise plain grey ones.
func (f *Fake) Stills(ctx context.Context, req media.Stills, fn func(media.Still) error) error {
	if err := f.before(ctx, "stills", req.Path); err != nil {
		return err
	}
	const op = "read picture"
	file, err := pictured(op, req.Path)
	if err != nil {
		return err
	}
	p := file.Info.Pictures[0]
	n := frame.Count(math.Round(p.Duration * p.Rate.Float()))
	if n <= 0 {
		return &fault.Error{Kind: fault.Unreadable, Op: op, Subject: req.Path, Err: errors.New("no frame of it can be shown"), Hint: "check the file"}
	}
	shows := max(0, min(n-1, p.Rate.At(min(req.At, p.Start+p.Duration)-p.Start+2e-6)))
	for k := max(0, shows-frame.Count(req.Before)); k <= min(n-1, shows+frame.Count(req.After)); k++ {
		still := media.Still{At: p.Start + p.Rate.Time(k), Until: p.Start + p.Rate.Time(k+1), Shows: k == shows}
		if still.JPEG, err = file.jpeg(int(k), int(n), req.Width); err != nil {
			return err
		}
		if err := fn(still); err != nil {
			return err
		}
	}
	return ctx.Err()
}

// planes are a frame of yuv420p.
func (f File) planes(k, n int) *image.YCbCr {
	p := f.Info.Pictures[0]
	out := image.NewYCbCr(image.Rect(0, 0, max(1, p.Width), max(1, p.Height)), image.YCbCrSubsampleRatio420)
	size := p.Width * p.Height * 3 / 2
	whole := p.Width%2 == 0 && p.Height%2 == 0 && size > 0 && len(f.Picture) == n*size
	rest := bytes.Repeat([]byte{128}, len(out.Y)+len(out.Cb)+len(out.Cr))
	if whole {
		rest = f.Picture[k*size:]
	}
	for _, plane := range [][]byte{out.Y, out.Cb, out.Cr} {
		rest = rest[copy(plane, rest):]
	}
	return out
}

// shrunk gives the nearest pixels of a picture at another size.
func shrunk(in *image.YCbCr, w, h int) *image.YCbCr {
	out := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio420)
	for y := range h {
		for x := range w {
			at := image.Pt(x*in.Rect.Dx()/w, y*in.Rect.Dy()/h)
			out.Y[out.YOffset(x, y)] = in.Y[in.YOffset(at.X, at.Y)]
			out.Cb[out.COffset(x, y)] = in.Cb[in.COffset(at.X, at.Y)]
			out.Cr[out.COffset(x, y)] = in.Cr[in.COffset(at.X, at.Y)]
		}
	}
	return out
}

func (f File) jpeg(k, n, width int) ([]byte, error) {
	picture := f.planes(k, n)
	if w, h := picture.Rect.Dx(), picture.Rect.Dy(); width > 0 && width < w {
		picture = shrunk(picture, width, max(1, (h*width+w/2)/w))
	}
	var b bytes.Buffer
	err := jpeg.Encode(&b, picture, &jpeg.Options{Quality: 95})
	return b.Bytes(), err
}

// Small writes a file of the fake's own without sound, its frames made smaller
// where Picture holds all of them as yuv420p.
func (f *Fake) Small(ctx context.Context, req media.Small) error {
	if err := f.before(ctx, "small", req.Out); err != nil {
		return err
	}
	const op = "make a small copy"
	file, err := pictured(op, req.Path)
	if err != nil {
		return err
	}
	p := file.Info.Pictures[0]
	n := int(math.Round(p.Duration * p.Rate.Float()))
	small := p
	small.Codec, small.Profile, small.Level, small.Rotation = "h264", "Constrained Baseline", 30, 0
	if req.Height > 0 && req.Height < p.Height {
		small.Height = max(2, req.Height/2*2)
		small.Width = max(2, (small.Height*p.Width/p.Height+1)/2*2)
	}
	out := File{Info: media.Info{Container: "mp4", Duration: small.Duration, Tags: map[string]string{}, Pictures: []media.Picture{small}}, Picture: file.Picture}
	if len(file.Picture) == n*p.Width*p.Height*3/2 {
		out.Picture = nil
		for k := range n {
			picture := shrunk(file.planes(k, n), small.Width, small.Height)
			for _, plane := range [][]byte{picture.Y, picture.Cb, picture.Cr} {
				out.Picture = append(out.Picture, plane...)
			}
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := create(op, req.Out, out); err != nil {
		return err
	}
	if req.Progress != nil {
		req.Progress(1)
	}
	return nil
}
