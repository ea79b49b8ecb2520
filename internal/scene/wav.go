package scene

import (
	"encoding/binary"
	"errors"
	"path/filepath"
	"strings"

	"earshot/internal/fault"
)

var (
	errNotWAV = errors.New("not a mono WAV file with 16-bit PCM or IMA ADPCM")
	errShort  = errors.New("the file ends early")
)

// badData wraps a failure to read scene data.
func badData(path string, err error) error {
	return &fault.Error{Kind: fault.Unreadable, Op: "read scene data", Subject: path, Err: err,
		Hint: "run from inside the source tree, or point " + DataVariable + " to a folder with speech and rir in it"}
}

func baseName(path string) string {
	return strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))
}

// A wavFormat is the part of a fmt chunk that matters here.
type wavFormat struct {
	tag, channels, align, bits int
	rate                       float64
}

// decodeWAV reads a mono WAV file: 16-bit PCM (tag 1) or 4-bit IMA ADPCM (tag
// 0x11).
func decodeWAV(raw []byte) (samples []float32, rate float64, err error) {
	if len(raw) < 12 || string(raw[:4]) != "RIFF" || string(raw[8:12]) != "WAVE" {
		return nil, 0, errNotWAV
	}
	var format wavFormat
	count := -1
	for at := 12; at+8 <= len(raw); {
		name, size := string(raw[at:at+4]), int(binary.LittleEndian.Uint32(raw[at+4:]))
		body := raw[at+8:]
		if size > len(body) {
			return nil, 0, errShort
		}
		body = body[:size]
		switch {
		case name == "fmt " && size >= 16:
			format = readFormat(body)
		case name == "fact" && size >= 4:
			count = int(binary.LittleEndian.Uint32(body))
		case name == "data":
			samples, err = format.decode(body)
			if count >= 0 && count < len(samples) {
				samples = samples[:count]
			}
			return samples, format.rate, err
		}
		at += 8 + size + size&1
	}
	return nil, 0, errShort
}

func readFormat(b []byte) wavFormat {
	u16 := func(at int) int { return int(binary.LittleEndian.Uint16(b[at:])) }
	return wavFormat{tag: u16(0), channels: u16(2), align: u16(12), bits: u16(14),
		rate: float64(binary.LittleEndian.Uint32(b[4:]))}
}

// decode turns a data chunk into samples.
func (f wavFormat) decode(data []byte) ([]float32, error) {
	switch {
	case f.channels == 1 && f.rate > 0 && f.tag == 1 && f.bits == 16:
		out := make([]float32, len(data)/2)
		for i := range out {
			out[i] = float32(int16(binary.LittleEndian.Uint16(data[2*i:]))) / 32768
		}
		return out, nil
	case f.channels == 1 && f.rate > 0 && f.tag == 0x11 && f.align > 4:
		var out []float32
		for len(data) > 4 {
			n := min(f.align, len(data))
			out = decodeADPCM(out, data[:n])
			data = data[n:]
		}
		return out, nil
	}
	return nil, errNotWAV
}

// adpcmSteps and adpcmMoves are the tables of the IMA's "Recommended Practices
// for Enhancing Digital Audio Compatibility in Multimedia Systems" (1992).
var adpcmSteps = [89]int{
	7, 8, 9, 10, 11, 12, 13, 14, 16, 17, 19, 21, 23, 25, 28, 31, 34, 37, 41, 45, 50, 55, 60, 66, 73, 80, 88, 97, 107,
	118, 130, 143, 157, 173, 190, 209, 230, 253, 279, 307, 337, 371, 408, 449, 494, 544, 598, 658, 724, 796, 876, 963,
	1060, 1166, 1282, 1411, 1552, 1707, 1878, 2066, 2272, 2499, 2749, 3024, 3327, 3660, 4026, 4428, 4871, 5358, 5894,
	6484, 7132, 7845, 8630, 9493, 10442, 11487, 12635, 13899, 15289, 16818, 18500, 20350, 22385, 24623, 27086, 29794, 32767,
}

var adpcmMoves = [8]int{-1, -1, -1, -1, 2, 4, 6, 8}

// decodeADPCM appends one mono block: a first sample, a step index, then two
// samples in each byte, low half first. The step's share is taken in one go,
// as FFmpeg does that packed our files, where the IMA's text cuts each of its
// bits apart.
func decodeADPCM(out []float32, block []byte) []float32 {
	last := int(int16(binary.LittleEndian.Uint16(block)))
	index := min(88, int(block[2]))
	out = append(out, float32(last)/32768)
	for _, b := range block[4:] {
		for _, code := range [2]int{int(b & 15), int(b >> 4)} {
			step := adpcmSteps[index]
			move := ((2*(code&7) + 1) * step) >> 3
			if code&8 != 0 {
				move = -move
			}
			last = max(-32768, min(32767, last+move))
			index = max(0, min(88, index+adpcmMoves[code&7]))
			out = append(out, float32(last)/32768)
		}
	}
	return out
}
