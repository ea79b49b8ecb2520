package app

import (
	"context"
	"errors"
	"fmt"

	"earshot/internal/fault"
	"earshot/internal/media"
	"earshot/internal/store"
)

// Still is the frame of a clip that shows at a moment, as JPEG, at most width
// wide. It is kept.
func (a *App) Still(ctx context.Context, r *Recording, at float64, width int) ([]byte, error) {
	if err := hasPicture(r); err != nil {
		return nil, err
	}
	name := fmt.Sprintf("still-%d-%d.jpg", width, int64(at*1e3))
	if b := a.Cache.LoadBytes(r.rec.id, name); b != nil {
		return b, nil
	}
	var out []byte
	err := a.Engine.Stills(ctx, media.Stills{Path: r.rec.path, Info: &r.rec.info, At: at, Width: width}, func(s media.Still) error {
		out = append([]byte(nil), s.JPEG...)
		return nil
	})
	if err == nil && out == nil {
		err = &fault.Error{Kind: fault.Unreadable, Op: "look at", Subject: r.rec.path, Err: errors.New("no frame shows there"), Hint: "the clip may have no picture at that moment"}
	}
	if err != nil {
		return nil, err
	}
	return out, a.Cache.SaveBytes(r.rec.id, name, out)
}

// Strip is the frames of a clip around a moment: the one that shows then, and
// so many before and after it.
func (a *App) Strip(ctx context.Context, r *Recording, ask media.Stills) ([]media.Still, error) {
	if err := hasPicture(r); err != nil {
		return nil, err
	}
	ask.Path, ask.Info = r.rec.path, &r.rec.info
	var out []media.Still
	err := a.Engine.Stills(ctx, ask, func(s media.Still) error {
		s.JPEG = append([]byte(nil), s.JPEG...)
		out = append(out, s)
		return nil
	})
	return out, err
}

func hasPicture(r *Recording) error {
	if r.rec.clip() {
		return nil
	}
	return &fault.Error{Kind: fault.Unreadable, Op: "look at", Subject: r.rec.path, Err: errors.New("it is a sound and has no picture"), Hint: "ask for a clip"}
}

// smallName and smallHeight are those of the small copy of a clip's picture.
const (
	smallName   = "small-1.mp4"
	smallHeight = 480
)

// SmallPicture is a small copy of a clip's picture that every browser plays,
// without sound; made if it is not there yet. The file is kept until room is
// needed.
func (a *App) SmallPicture(ctx context.Context, path string) (string, error) {
	id, err := store.Identify(path)
	if err != nil {
		return "", err
	}
	return a.Cache.MakeFile(id, smallName, func(out string) error {
		return a.Engine.Small(ctx, media.Small{Path: path, Out: out, Height: smallHeight})
	})
}
