package ffmpeg

import (
	"encoding/binary"
	"fmt"
	"io"
	"os"

	"earshot/internal/media"
)

// boxAt reads the head of the box at a place in a movie file (ISO/IEC 14496-12,
// 4.2): its kind, and its length, head included; 0 means to the file's end.
func boxAt(r io.ReaderAt, at int64) (kind string, length int64, err error) {
	var b [16]byte
	k, err := r.ReadAt(b[:], at)
	if k < 8 {
		return "", 0, err
	}
	length = int64(binary.BigEndian.Uint32(b[:]))
	if length == 1 && k == 16 {
		length = int64(binary.BigEndian.Uint64(b[8:]))
	}
	if length != 0 && length < 8 || length > 1<<50 {
		return "", 0, errMovie
	}
	return string(b[4:8]), length, nil
}

// missingBytes walks the boxes at the top of an MP4 or MOV file (ISO/IEC
// 14496-12, 4.2) and returns how many bytes the last one lacks. A file whose
// index comes first still opens after it was cut off; only this tells.
func missingBytes(r io.ReaderAt, size int64) int64 {
	for at, n := int64(0), 0; at+8 <= size && n < 1<<16; n++ {
		_, length, err := boxAt(r, at)
		if err != nil || length == 0 { // 0: it goes on to the end
			return 0
		}
		if at += length; at > size {
			return at - size
		}
	}
	return 0
}

// warnCut adds a warning to info when the movie file at path is cut off.
func warnCut(path string, info *media.Info) {
	f, err := os.Open(path)
	if err != nil {
		return
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return
	}
	if n := missingBytes(f, st.Size()); n > 0 {
		info.Warnings = append(info.Warnings, fmt.Sprintf("it is cut off: %.1f of %.1f MB are there, so its end is missing",
			float64(st.Size())/1e6, float64(st.Size()+n)/1e6))
	}
}
