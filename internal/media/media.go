// Package media is what Earshot asks of a media engine: say what is in a
// file, decode its sound, show its frames, and write one finished clip or a
// small copy to look at. It knows no particular engine; package ffmpeg below it
// is the one we ship.
//
// # Time
//
// Every time here is in seconds from the file's zero, and zero is the same
// for every stream of the file:
//
//   - a clip's zero is its presentation zero as a correct player shows it: the
//     start of the movie timeline in MP4 and MOV (edit lists, empty edits and
//     encoder delay honoured), otherwise its first picture frame;
//   - a sound's zero is the first sample a correct player plays (encoder delay
//     cut).
package media

import (
	"context"
	"io"
	"time"

	"earshot/internal/frame"
)

// An Engine reads and writes media files. All paths are ordinary paths of the
// operating system, absolute or relative to the working directory; names that
// start with a dash, hold newlines, quotes, percent signs or colons are plain
// names. Inputs are opened for reading only. An Engine is safe for concurrent
// use. Errors are *fault.Error: Unreadable for a bad input, Unwritable for a
// bad output, Engine when the engine itself failed or died; a cancelled ctx
// stops the work within a second and returns ctx's error.
type Engine interface {
	// About names the engine, its version and licence.
	About(ctx context.Context) (About, error)

	// Probe says what the file at path holds. A file without picture and
	// sound is Unreadable.
	Probe(ctx context.Context, path string) (Info, error)

	// Decode calls fn with successive blocks of one sound stream:
	// interleaved samples in [-1, 1] (float sources may exceed it), starting
	// exactly at the file's zero. Where the stream starts later than zero the
	// gap is filled with silence, where it starts earlier it is cut; holes of
	// 100 ms or more inside are filled with silence. A block is only valid
	// during the call. An error of fn stops the work and is returned as it is.
	// A stream that breaks off or has damage inside decodes as far as it can;
	// that is no error unless nothing came out.
	Decode(ctx context.Context, req Decode, fn func(block []float32) error) error

	// Render writes the finished clip plan describes to plan.Out, which must
	// not exist yet. sound delivers the good sound: interleaved little-endian
	// float32, plan.Sound.Rate and plan.Sound.Channels, first sample at the
	// clip's zero. Picture packets are copied, never re-encoded. On any error
	// plan.Out is removed.
	Render(ctx context.Context, plan Plan, sound io.Reader) error

	// Limits says in words what of plan.Clip the finished clip cannot hold or
	// cannot hold unchanged; empty when everything is kept. It reads nothing.
	Limits(plan Plan) []string

	// PictureDigest returns a SHA-256 in hex over the packets of every
	// picture stream of path, in order: the proof that two files show the
	// same picture data.
	PictureDigest(ctx context.Context, path string) (string, error)

	// Stills calls fn with frames of the file's first picture stream, in the
	// order of their times: the one that shows at req.At, some before it and
	// some after it, fewer where the picture begins or ends. An error of fn is
	// returned as it is.
	Stills(ctx context.Context, req Stills, fn func(Still) error) error

	// Small writes a small copy of the file's first picture stream to req.Out,
	// which must not exist yet, for a browser to play: H.264 in MP4, 4:2:0 and
	// 8 bits, turned for viewing, square pixels, the index in front, a key frame
	// at least every second and no sound. The copy has the frames of the clip,
	// each at its time from zero, however uneven; only the first is held from
	// zero on where the picture begins later. On any error req.Out is removed.
	Small(ctx context.Context, req Small) error

	// Encode writes a new file from raw frames and samples: what a camera or
	// a recorder would have written. It serves the demo, tests and benchmarks.
	Encode(ctx context.Context, enc Encode) error

	// Close ends whatever the engine keeps running.
	Close() error
}

// About says which engine runs.
type About struct {
	Name    string   `json:"name"`    // "embedded" or "native"
	Version string   `json:"version"` // as the engine says it
	Licence string   `json:"licence"` // SPDX, e.g. "GPL-3.0-or-later"
	Path    string   `json:"path,omitempty"`
	Notes   []string `json:"notes,omitempty"` // what is missing or was passed over, and why
}

// Info is what a file says about itself, made uniform.
type Info struct {
	Container string            // short name: mov mp4 mkv avi mpegts mpeg wav aiff caf flac ogg mp3 aac amr ...
	Duration  float64           // seconds from zero to the end of the longest stream; 0 unknown
	Zero      float64           // the container time stamp of zero, seconds
	Pictures  []Picture         // moving pictures only; cover art and stills are left out
	Sounds    []Sound           // in file order
	Others    []Other           // timecode, data, subtitles, attached pictures
	Created   time.Time         // as stored, may be wrong by years; zero when absent
	Timecode  string            // start timecode as stored, "" when absent
	Tags      map[string]string // container tags, keys lower case (make, model, location, ...)
	Warnings  []string          // what was mended or doubted while reading, in words
}

// HasPicture tells a clip from a sound.
func (i Info) HasPicture() bool { return len(i.Pictures) > 0 }

// A Picture is one picture stream.
type Picture struct {
	Stream        int // index in the file
	Codec         string
	Profile       string     // of H.264 and HEVC, as FFmpeg names it: "High", "Main 10", ...; "" unknown
	Level         int        // as the stream writes it: 40 is H.264's 4, 120 HEVC's 4; 0 unknown
	Width, Height int        // as stored, before rotation
	Rotation      int        // degrees clockwise to turn for viewing: 0, 90, 180, 270
	Reordered     bool       // stored in another order than shown
	Rate          frame.Rate // average; zero value when unknown or meaningless
	Start         float64    // seconds, first frame shown
	Duration      float64    // seconds
}

// A Sound is one sound stream.
type Sound struct {
	Stream   int // index in the file
	Codec    string
	Rate     int // Hz
	Channels int
	Bits     int     // bits per sample for PCM and lossless codecs, 0 otherwise
	Start    float64 // seconds, first sample played; negative is cut
	Duration float64 // seconds
	Delay    int     // samples of encoder delay the engine's decoder leaves in and Decode cuts
	Title    string
	Default  bool
}

// An Other is any further stream.
type Other struct {
	Stream int
	Kind   string // "timecode", "data", "subtitle", "still"
	Codec  string
}

// Decode asks for one sound stream of a file.
type Decode struct {
	Path     string
	Info     *Info   // from Probe, to save a second look; nil makes Decode look itself
	Stream   int     // index into Info.Sounds (not the file's stream index)
	Rate     int     // Hz; 0 keeps the stream's rate; another is for measuring: flat to three quarters of the lower Nyquist frequency
	Mono     bool    // mix all channels to one, each with weight 1/n
	From, To float64 // seconds from zero; To 0 means to the end
}

// Stills asks for frames around a moment.
type Stills struct {
	Path string
	Info *Info // from Probe, to save a second look; nil makes Stills look itself
	// At is the moment in seconds from zero. The frame that shows then is the
	// last that has begun; before the first frame it is the first, past the end
	// the last. Times are known to the microsecond, so a frame that begins 2 µs
	// after At has begun.
	At            float64
	Before, After int // frames besides
	Width         int // pixels: at most so wide as seen; 0 as it is
}

// A Still is one frame.
type Still struct {
	At    float64 // seconds from zero: when it begins to show, rounded to the microsecond
	Until float64 // seconds from zero: when the next one does, or the picture ends
	JPEG  []byte  // turned for viewing, square pixels
	Shows bool    // it is the one that shows at Stills.At
}

// Small asks for a small copy of a clip's picture.
type Small struct {
	Path     string
	Info     *Info // from Probe, to save a second look; nil makes Small look itself
	Out      string
	Height   int                // pixels: at most so high as seen; 0 as it is
	Progress func(done float64) // gets the part that is done, from 0 to 1, rising; may be nil
}

// A Plan is all that is needed to write one finished clip.
type Plan struct {
	Clip      string            // path of the camera's file
	Info      Info              // of Clip
	Out       string            // path to write
	Container string            // "mov" or "mp4"
	Sound     Track             // the good sound: first sound track, enabled
	Scratch   bool              // keep the camera's sound as further tracks, not enabled
	Tags      map[string]string // container tags to add
}

// A Track describes a sound track to write.
type Track struct {
	Codec    string // "pcm_s24le" or "aac"
	Rate     int    // Hz
	Channels int
	Bitrate  int // bits per second, for aac; 0 picks one
	Title    string
}

// Encode describes a file to make from raw material.
type Encode struct {
	Out       string
	Container string // mov mp4 mkv avi mpegts mpeg wav m4a mp3 ... ; "" goes by Out's ending
	Picture   *EncodePicture
	Sound     *EncodeSound
	Args      []string // further output arguments in the engine's own words; tests only
	Tags      map[string]string
}

// EncodePicture is a run of raw frames.
type EncodePicture struct {
	Codec         string // h264 hevc mpeg4 mjpeg mpeg1video ...
	Width, Height int
	Rate          frame.Rate
	Frames        io.Reader // yuv420p, frame after frame
}

// EncodeSound is raw sound.
type EncodeSound struct {
	Codec          string // aac mp3 pcm_s16le flac opus ...
	Rate, Channels int
	Bitrate        int
	Samples        io.Reader // little-endian float32, interleaved
}
