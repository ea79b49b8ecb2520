package app

import (
	"crypto/sha256"
	"encoding/hex"
	"path/filepath"
	"time"

	"earshot/internal/media"
)

// A Recording is one file, read. It is for asking what is to be seen and heard
// of it, and safe for concurrent use.
type Recording struct{ rec *recording }

// A Track is one sound track of a Recording.
type Track struct {
	Rate     int // Hz
	Channels int
	Silent   bool // nothing but digital silence
	Samples  int  // at dsp.ProxyRate
}

// Path is where the file was.
func (r *Recording) Path() string { return r.rec.path }

// Identity names the file as it is: see store.Identity. Words go by Day.Key.
func (r *Recording) Identity() string { return string(r.rec.id) }

// Info is what the file says about itself.
func (r *Recording) Info() media.Info { return r.rec.info }

// Kind is "clip" or "sound".
func (r *Recording) Kind() string {
	if r.rec.clip() {
		return "clip"
	}
	return "sound"
}

// Length is how long it lasts in seconds: a clip's picture, a sound's longest
// track.
func (r *Recording) Length() float64 {
	if r.rec.clip() {
		return clipLength(r.rec.info)
	}
	return lengthOf(r.rec)
}

// Tracks are its sound tracks, in file order.
func (r *Recording) Tracks() []Track {
	out := make([]Track, len(r.rec.tracks))
	for i, t := range r.rec.tracks {
		s := r.rec.info.Sounds[i]
		out[i] = Track{Rate: s.Rate, Channels: s.Channels, Silent: t.Silent, Samples: t.Samples}
	}
	return out
}

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
