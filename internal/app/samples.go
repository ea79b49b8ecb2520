package app

import (
	"bytes"
	"encoding/binary"
	"io"
	"math"
)

// newSampleReader delivers samples as little-endian float32.
func newSampleReader(samples []float32) io.Reader {
	b := make([]byte, 0, 4*len(samples))
	for _, v := range samples {
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(v))
	}
	return bytes.NewReader(b)
}
