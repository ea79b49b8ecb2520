// Package module carries the WebAssembly build of FFmpeg inside the program,
// still compressed: unzipping it takes a good part of a second and 20 MB, so
// that is left to the process that runs it. NOTICE.md says what it is, under
// which licence, and where its source is published.
package module

import (
	"bytes"
	"compress/gzip"
	_ "embed"
	"fmt"
	"io"
)

// Version is the FFmpeg version of the module.
const Version = "n5.1.10"

// Source says where the module's source is published.
const Source = "https://codeberg.org/gruf/go-ffmpreg"

// SHA256 is the sum of the compressed module, in hex.
const SHA256 = "6f0631a13291741daeea3cf32b5b9c478ac913a384a4d4d31f41700ec9c4205f"

//go:embed ffmpreg.wasm.gz
var zipped []byte

// Bytes unzips the module. The result is the caller's.
func Bytes() ([]byte, error) {
	zr, err := gzip.NewReader(bytes.NewReader(zipped))
	if err != nil {
		return nil, fmt.Errorf("unzip the media engine: %w", err)
	}
	out := bytes.NewBuffer(make([]byte, 0, 3*len(zipped)))
	if _, err := io.Copy(out, zr); err != nil {
		return nil, fmt.Errorf("unzip the media engine: %w", err)
	}
	return out.Bytes(), nil
}
