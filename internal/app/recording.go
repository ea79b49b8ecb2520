package app

import (
	"crypto/sha256"
	"encoding/hex"
	"path/filepath"
	"time"

	"earshot/internal/media"
)

// Name is the file's name without its folder.
func (r *Recording) Name() string { return filepath.Base(r.rec.path) }

// Device tells the recordings of one device from those of others.
func (r *Recording) Device() string {
	sum := sha256.Sum256([]byte(r.rec.device))
	return hex.EncodeToString(sum[:6])
}

// Made is when it was made, as the file says, which may be wrong by years; zero
// where it says nothing.
func (r *Recording) Made() time.Time { return r.rec.info.Created }

// A Picture is what a clip shows.
type Picture struct {
	Width, Height int // as seen, after turning
	FPS           float64
	Rate          string
	Start         float64 // seconds, first frame shown
	Codec         string
	Timecode      string // of the file's start, "" when absent
	Type          string // for asking a browser whether it plays it: see media.TypeOf
}

// Picture is a clip's first picture; ok is false of a sound.
func (r *Recording) Picture() (p Picture, ok bool) {
	if !r.rec.clip() {
		return p, false
	}
	m := r.rec.info.Pictures[0]
	p = Picture{Width: m.Width, Height: m.Height, Start: m.Start, Codec: m.Codec, Timecode: r.rec.info.Timecode, Type: media.TypeOf(r.rec.info)}
	if m.Rotation%180 != 0 {
		p.Width, p.Height = p.Height, p.Width
	}
	if rate := m.Rate; rate.Known() {
		p.FPS, p.Rate = rate.Float(), rate.String()
	}
	return p, true
}
