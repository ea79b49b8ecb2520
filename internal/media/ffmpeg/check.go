package ffmpeg

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// needs lists what a native ffmpeg must have for our plans, by the option
// that lists it.
var needs = []struct {
	option string
	names  []string
}{
	{"-demuxers", []string{"mov,mp4,m4a,3gp,3g2,mj2", "matroska,webm", "avi", "mpegts", "mpeg", "wav", "flac", "ogg", "mp3", "aac", "aiff", "caf", "amr", "f32le", "rawvideo"}},
	{"-muxers", []string{"mov", "mp4", "f32le", "data"}},
	{"-decoders", []string{"aac", "mp3float", "mp2float", "ac3", "flac", "alac", "opus", "vorbis", "pcm_s16le", "pcm_s24le", "amrnb"}},
	{"-encoders", []string{"aac", "pcm_s16le", "pcm_s24le", "pcm_f32le", "mjpeg", "libx264"}},
	{"-filters", []string{"aresample", "asetnsamples", "pan", "atrim", "select", "trim", "setpts", "scale", "setsar", "format", "transpose"}},
	{"-bsfs", []string{"h264_mp4toannexb", "hevc_mp4toannexb"}},
}

// checkEdition changes when what is looked for does, so that old findings fall.
const checkEdition = "3;"

// A finding is what was found out about a native ffmpeg. It holds as long as
// the two programs keep their size and time.
type finding struct {
	Key     string // path, size and time of both programs
	Version string
	Unfit   string // why it cannot be used; "" when it can
}

// findNative returns the native engine, or nil and why there is none.
func findNative(ctx context.Context, cacheDir string) (*native, string) {
	var paths [2]string
	var key strings.Builder
	key.WriteString(checkEdition)
	for i, tool := range []string{"ffmpeg", "ffprobe"} {
		p, err := exec.LookPath(tool)
		if err != nil {
			return nil, "no " + tool + " in the search path"
		}
		st, err := os.Stat(p)
		if err != nil {
			return nil, err.Error()
		}
		paths[i] = p
		fmt.Fprintf(&key, "%s %d %d;", p, st.Size(), st.ModTime().UnixNano())
	}
	kept := filepath.Join(cacheDir, "native-ffmpeg.json")
	f, ok := readFinding(kept, key.String())
	if !ok {
		f = finding{Key: key.String()}
		f.Version, f.Unfit = look(ctx, paths[0])
		if ctx.Err() == nil {
			f.write(kept)
		}
	}
	if f.Unfit != "" {
		return nil, f.Unfit
	}
	return &native{ffmpeg: paths[0], ffprobe: paths[1], version: f.Version}, ""
}

func readFinding(path, key string) (finding, bool) {
	var f finding
	b, err := os.ReadFile(path)
	if err != nil || json.Unmarshal(b, &f) != nil || f.Key != key {
		return finding{}, false
	}
	return f, true
}

// write keeps the finding; that it cannot be kept only costs time later.
func (f finding) write(path string) {
	b, err := json.Marshal(f)
	if err != nil || os.MkdirAll(filepath.Dir(path), 0o755) != nil {
		return
	}
	tmp, err := os.CreateTemp(filepath.Dir(path), ".native-*")
	if err != nil {
		return
	}
	_, err = tmp.Write(b)
	if err2 := tmp.Close(); err != nil || err2 != nil || os.Rename(tmp.Name(), path) != nil {
		os.Remove(tmp.Name())
	}
}

// look asks the program for its version and parts.
func look(ctx context.Context, program string) (version, unfit string) {
	ctx, cancel := context.WithTimeout(ctx, 20*time.Second)
	defer cancel()
	ask := func(option string) (string, error) {
		var out bytes.Buffer
		cmd := exec.CommandContext(ctx, program, "-hide_banner", option)
		cmd.Stdout = &out
		err := cmd.Run()
		return out.String(), err
	}
	text, err := ask("-version")
	if err != nil {
		return "", fmt.Sprintf("%s does not run: %v", program, err)
	}
	version, unfit = readVersion(text)
	if unfit != "" {
		return version, unfit
	}
	var missing []string
	for _, n := range needs {
		text, err := ask(n.option)
		if err != nil {
			return version, fmt.Sprintf("%s %s fails: %v", program, n.option, err)
		}
		have := map[string]bool{}
		for f := range strings.FieldsSeq(text) {
			have[f] = true
		}
		for _, name := range n.names {
			if !have[name] {
				missing = append(missing, strings.TrimSuffix(n.option[1:], "s")+" "+name)
			}
		}
	}
	if missing != nil {
		return version, "it lacks " + strings.Join(missing, ", ")
	}
	return version, ""
}

var versionLine = regexp.MustCompile(`^ffmpeg version (\S+)`)
var number = regexp.MustCompile(`^n?(\d+)\.(\d+)`)

// readVersion reads the first line of `ffmpeg -version`. Builds from the
// development branch (N-12345-g…) are taken to be new enough.
func readVersion(text string) (version, unfit string) {
	m := versionLine.FindStringSubmatch(text)
	if m == nil {
		return "", "it does not say its version"
	}
	version = m[1]
	n := number.FindStringSubmatch(version)
	if n == nil {
		if strings.HasPrefix(version, "N-") || strings.HasPrefix(version, "git-") {
			return version, ""
		}
		return version, "its version " + version + " is not understood"
	}
	if major, _ := strconv.Atoi(n[1]); major < 5 {
		return version, "its version " + version + " is older than 5.0"
	}
	return version, ""
}
