package ffmpeg

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"

	"earshot/internal/media"
)

// A wavHead is what the header of a WAV, RF64 or BW64 file says of its sound,
// and how much sound there really is. Sources: EBU Tech 3306 (RF64), ITU-R
// BS.2088 (BW64); a plain WAV has no ds64 chunk and 32-bit sizes.
type wavHead struct {
	dataAt   int64 // offset of the first sample
	declared int64 // bytes of sound the header promises; -1 when it leaves that open
	real     int64 // bytes of sound there are
	rate     int   // Hz
	bytes    int   // bytes for a second
	mend     bool  // the header's size must be ignored
	warning  string
}

// seconds gives n bytes of sound as time.
func (h wavHead) seconds(n int64) float64 {
	if h.bytes <= 0 {
		return 0
	}
	return float64(n) / float64(h.bytes)
}

const (
	maxWAVChunks = 4096
	open32       = 0xFFFFFFFF // a 32-bit size that says "see ds64" or "not known yet"
)

var errNotWAV = errors.New("it does not begin as a WAV file does")

// readWAV reads the header of a file of the given size. It does not read
// sound.
func readWAV(r io.ReaderAt, size int64) (wavHead, error) {
	var b [16]byte
	if n, _ := r.ReadAt(b[:12], 0); n < 12 || string(b[8:12]) != "WAVE" {
		return wavHead{}, errNotWAV
	}
	switch string(b[:4]) {
	case "RIFF", "RF64", "BW64":
	default:
		return wavHead{}, errNotWAV
	}
	h := wavHead{}
	wide := int64(-1) // the data size ds64 gives
	at := int64(12)
	for range maxWAVChunks {
		id, n, ok := chunkAt(r, at, size)
		if !ok {
			break
		}
		body := at + 8
		switch id {
		case "ds64":
			if k, _ := r.ReadAt(b[:16], body); k == 16 {
				wide = int64(binary.LittleEndian.Uint64(b[8:]))
			}
		case "fmt ":
			if k, _ := r.ReadAt(b[:16], body); k == 16 {
				h.rate = int(binary.LittleEndian.Uint32(b[4:]))
				h.bytes = int(binary.LittleEndian.Uint32(b[8:]))
			}
		case "data":
			h.dataAt, h.declared = body, n
			if n == open32 {
				h.declared = max(-1, wide)
			}
			h.judge(r, size)
			return h, nil
		}
		at = body + n + n&1
	}
	return wavHead{}, errors.New("it has no sound chunk")
}

// chunkAt reads a chunk's name and size.
func chunkAt(r io.ReaderAt, at, size int64) (id string, n int64, ok bool) {
	var b [8]byte
	if at < 0 || at+8 > size {
		return "", 0, false
	}
	if k, _ := r.ReadAt(b[:], at); k < 8 {
		return "", 0, false
	}
	return string(b[:4]), int64(binary.LittleEndian.Uint32(b[4:])), true
}

// judge compares what the header promises with what is there.
func (h *wavHead) judge(r io.ReaderAt, size int64) {
	there := size - h.dataAt
	after := h.dataAt + max(0, h.declared) + max(0, h.declared)&1
	switch {
	case h.declared > there:
		h.real = there
		h.warning = fmt.Sprintf("it is cut off: the header promises %.1f s of sound, %.1f s are there", h.seconds(h.declared), h.seconds(there))
	case h.declared >= 0 && chunksTo(r, after, size):
		h.real = h.declared
	default:
		h.real, h.mend = there, true
		h.warning = fmt.Sprintf("its header was not brought up to date when recording ended; all %.1f s of sound that are there are read", h.seconds(there))
	}
}

// chunksTo reports whether everything from at to the end of the file is whole
// chunks, or so little that it does not matter.
func chunksTo(r io.ReaderAt, at, size int64) bool {
	for range maxWAVChunks {
		if at >= size-8 {
			return true
		}
		id, n, ok := chunkAt(r, at, size)
		if !ok || !printable(id) {
			return false
		}
		at += 8 + n + n&1
		if at > size+1 {
			return false
		}
	}
	return false
}

// printable tells a chunk's name from sound.
func printable(id string) bool {
	for i := range len(id) {
		if id[i] < ' ' || id[i] > '~' {
			return false
		}
	}
	return true
}

// headOf reads the header of the WAV file at path.
func headOf(path string) (wavHead, error) {
	f, err := os.Open(path)
	if err != nil {
		return wavHead{}, err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return wavHead{}, err
	}
	return readWAV(f, st.Size())
}

// mendWAV puts the true length into info where the header is wrong.
func mendWAV(path string, info *media.Info) {
	h, err := headOf(path)
	if err != nil || h.warning == "" || len(info.Sounds) == 0 {
		return
	}
	info.Warnings = append(info.Warnings, h.warning)
	if d := h.seconds(h.real); d > 0 {
		info.Duration, info.Sounds[0].Duration = d, d
	}
}

// wavOptions are the input options a broken-off WAV file needs.
func wavOptions(info media.Info, path string) []string {
	if info.Container != "wav" {
		return nil
	}
	if h, err := headOf(path); err != nil || !h.mend {
		return nil
	}
	return []string{"-ignore_length", "1"}
}
