package ffmpeg

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"

	"earshot/internal/fault"
	"earshot/internal/media"
)

// formats are the demuxers that may open a file given to us. Anything else,
// play lists and picture sequences above all, could make the engine open
// other files than the one named.
const formats = "mov,matroska,webm,avi,mpegts,mpeg,mpegvideo,h264,hevc,wav,w64,aiff,caf,flac,ogg,mp3,aac,ac3,eac3,amr,amrnb,amrwb,asf,flv,mxf,dv,au,wv,tta,ape,rm,nut"

// input returns the words that open path.
func input(path string) []word {
	return append(words("-protocol_whitelist", "file,pipe", "-format_whitelist", formats, "-i"), word{path, reads})
}

// probeWords asks ffprobe for everything as JSON.
func probeWords(path string) []word {
	return append(words("-hide_banner", "-v", "error", "-show_format", "-show_streams", "-of", "json"), input(path)...)
}

// maxProbe bounds what ffprobe may say about a file.
const maxProbe = 8 << 20

// Probe says what the file at path holds.
func (e *Engine) Probe(ctx context.Context, path string) (media.Info, error) {
	const op = "read file"
	if err := checkInput(op, path); err != nil {
		return media.Info{}, err
	}
	var out bytes.Buffer
	j := job{tool: "ffprobe", words: probeWords(path), again: true, stdout: func(b []byte) error {
		if out.Len()+len(b) > maxProbe {
			return errors.New("the description of the file is too long")
		}
		out.Write(b)
		return nil
	}}
	res, err := e.run(ctx, j, "")
	if err != nil {
		return media.Info{}, settle(op, path, err)
	}
	if res.code != 0 {
		return media.Info{}, explain(op, path, res, fault.Unreadable)
	}
	info, err := readProbe(out.Bytes())
	if err != nil {
		return media.Info{}, &fault.Error{Kind: fault.Unreadable, Op: op, Subject: path, Err: err,
			Hint: "check that the file is whole and plays"}
	}
	switch {
	case info.Container == "wav":
		mendWAV(path, &info)
	case slices.Contains(movies, info.Container):
		warnCut(path, &info)
	}
	return info, nil
}

// sound returns the sound stream at place i of info.
func sound(op, path string, info media.Info, i int) (media.Sound, error) {
	if i < 0 || i >= len(info.Sounds) {
		return media.Sound{}, &fault.Error{Kind: fault.Unreadable, Op: op, Subject: path,
			Err: fmt.Errorf("no sound stream %d", i), Hint: fmt.Sprintf("it holds %d", len(info.Sounds))}
	}
	return info.Sounds[i], nil
}
