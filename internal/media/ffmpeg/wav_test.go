package ffmpeg

import (
	"bytes"
	"encoding/binary"
	"strings"
	"testing"
)

// wavFile builds a 16-bit mono file at 8 kHz by hand.
func wavFile(riff string, dataSize uint32, ds64 int64, sound int, tail string) []byte {
	le := binary.LittleEndian
	b := []byte(riff + "\xff\xff\xff\xffWAVE")
	if ds64 >= 0 {
		b = append(b, "ds64"...)
		b = le.AppendUint32(b, 28)
		b = le.AppendUint64(b, uint64(ds64)+80)
		b = le.AppendUint64(b, uint64(ds64))
		b = append(b, make([]byte, 12)...)
	}
	b = append(b, "fmt "...)
	b = le.AppendUint32(b, 16)
	b = le.AppendUint16(b, 1)
	b = le.AppendUint16(b, 1)
	b = le.AppendUint32(b, 8000)
	b = le.AppendUint32(b, 16000)
	b = le.AppendUint16(b, 2)
	b = le.AppendUint16(b, 16)
	b = append(b, "data"...)
	b = le.AppendUint32(b, dataSize)
	b = append(b, bytes.Repeat([]byte{1, 2}, sound/2)...)
	return append(b, tail...)
}

// The layout of ds64 is that of EBU Tech 3306: riffSize, dataSize, sampleCount
// as 64-bit numbers, then a table; FFFFFFFFh as data size points to it.
func TestReadWAV(t *testing.T) {
	list := "LIST\x04\x00\x00\x00INFO"
	for _, tt := range []struct {
		name   string
		file   []byte
		real   int64
		mend   bool
		warned string // part of the warning
	}{
		{"whole", wavFile("RIFF", 16000, -1, 16000, ""), 16000, false, ""},
		{"whole with a list after it", wavFile("RIFF", 16000, -1, 16000, list), 16000, false, ""},
		{"rf64", wavFile("RF64", open32, 16000, 16000, list), 16000, false, ""},
		{"bw64", wavFile("BW64", open32, 16000, 16000, ""), 16000, false, ""},
		{"size never written", wavFile("RIFF", 0, -1, 16000, ""), 16000, true, "1.0 s"},
		{"size left open", wavFile("RIFF", open32, -1, 16000, ""), 16000, true, "1.0 s"},
		{"size of an early moment", wavFile("RIFF", 1600, -1, 16000, ""), 16000, true, "1.0 s"},
		{"cut off", wavFile("RIFF", 32000, -1, 16000, ""), 16000, false, "promises 2.0 s of sound, 1.0 s"},
		{"rf64 cut off", wavFile("RF64", open32, 32000, 16000, ""), 16000, false, "promises 2.0 s"},
		{"odd size without pad", wavFile("RIFF", 15999, -1, 16000, ""), 15999, false, ""},
		{"empty with a list", wavFile("RIFF", 0, -1, 0, list), 0, false, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			h, err := readWAV(bytes.NewReader(tt.file), int64(len(tt.file)))
			if err != nil {
				t.Fatal(err)
			}
			if h.real != tt.real || h.mend != tt.mend || h.rate != 8000 {
				t.Errorf("got %d bytes, mend %v, rate %d; want %d, %v, 8000", h.real, h.mend, h.rate, tt.real, tt.mend)
			}
			if (h.warning == "") != (tt.warned == "") || !strings.Contains(h.warning, tt.warned) {
				t.Errorf("warning is %q, want %q in it", h.warning, tt.warned)
			}
		})
	}
	for _, bad := range []string{"", "RIFF", "RIFF\x00\x00\x00\x00AVI ", "RIFF\x00\x00\x00\x00WAVEfmt "} {
		if _, err := readWAV(strings.NewReader(bad), int64(len(bad))); err == nil {
			t.Errorf("%q was read", bad)
		}
	}
}

func FuzzReadWAV(f *testing.F) {
	f.Add(wavFile("RIFF", 16, -1, 16, ""))
	f.Add(wavFile("RF64", open32, 16, 16, "LIST\x04\x00\x00\x00INFO"))
	f.Add(wavFile("RIFF", 0, -1, 16, ""))
	f.Fuzz(func(t *testing.T, b []byte) {
		h, err := readWAV(bytes.NewReader(b), int64(len(b)))
		if err == nil && (h.real < 0 || h.dataAt+h.real > int64(len(b))) {
			t.Errorf("%d bytes of sound at %d in a file of %d", h.real, h.dataAt, len(b))
		}
	})
}
