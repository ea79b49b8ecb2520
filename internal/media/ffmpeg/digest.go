package ffmpeg

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"strings"

	"earshot/internal/fault"
	"earshot/internal/media"
)

// normal brings a codec's packets into a form that does not depend on the
// container. H.264 and HEVC in MOV and MP4 have lengths before their units
// and parameter sets in the header; elsewhere start codes, and parameter sets
// and delimiters in the stream. Units that a container may move or drop
// without touching the picture data (parameter sets, delimiters, filler) are
// left out; everything else counts, byte for byte.
var normal = map[string]string{
	"h264": "h264_mp4toannexb,filter_units=remove_types=7-9|12",
	"hevc": "hevc_mp4toannexb,filter_units=remove_types=32-35|38",
}

// digestWords lists the SHA-256 of every picture packet on stdout.
func digestWords(path string, info media.Info) []word {
	ws := words("-hide_banner", "-nostdin", "-v", "error", "-copyts")
	ws = append(ws, input(path)...)
	for _, p := range info.Pictures {
		ws = append(ws, words("-map", fmt.Sprintf("0:%d", p.Stream))...)
	}
	ws = append(ws, words("-c", "copy", "-copyinkf", "-copypriorss", "1")...)
	for i, p := range info.Pictures {
		if n := normal[p.Codec]; n != "" {
			ws = append(ws, words(fmt.Sprintf("-bsf:v:%d", i), n)...)
		}
	}
	return append(ws, words("-f", "framehash", "-hash", "sha256", "pipe:1")...)
}

// PictureDigest returns a SHA-256 over the packets of every picture stream.
func (e *Engine) PictureDigest(ctx context.Context, path string) (string, error) {
	const op = "fingerprint pictures"
	info, err := e.Probe(ctx, path)
	if err != nil {
		return "", err
	}
	if !info.HasPicture() {
		return "", &fault.Error{Kind: fault.Unreadable, Op: op, Subject: path, Err: errors.New("it holds no moving pictures")}
	}
	d := newDigest(len(info.Pictures))
	res, err := e.run(ctx, job{tool: "ffmpeg", words: digestWords(path, info), stdout: d.take}, "")
	if err != nil {
		return "", settle(op, path, err)
	}
	if res.code != 0 {
		return "", explain(op, path, res, fault.Unreadable)
	}
	return d.sum(), nil
}

// A digest folds framehash lines into one sum for each stream.
type digest struct {
	streams []hash.Hash
	rest    []byte
}

func newDigest(n int) *digest {
	d := &digest{streams: make([]hash.Hash, n)}
	for i := range d.streams {
		d.streams[i] = sha256.New()
	}
	return d
}

func (d *digest) take(b []byte) error {
	d.rest = append(d.rest, b...)
	for {
		i := bytes.IndexByte(d.rest, '\n')
		if i < 0 {
			return nil
		}
		d.line(string(d.rest[:i]))
		d.rest = append(d.rest[:0], d.rest[i+1:]...)
	}
}

// line takes "stream, dts, pts, duration, size, hash".
func (d *digest) line(s string) {
	if strings.HasPrefix(s, "#") {
		return
	}
	f := strings.Split(s, ",")
	if len(f) < 6 {
		return
	}
	i := whole(strings.TrimSpace(f[0]))
	if i < len(d.streams) {
		fmt.Fprintf(d.streams[i], "%s %s\n", strings.TrimSpace(f[4]), strings.TrimSpace(f[5]))
	}
}

func (d *digest) sum() string {
	all := sha256.New()
	for _, h := range d.streams {
		all.Write(h.Sum(nil))
	}
	return hex.EncodeToString(all.Sum(nil))
}
