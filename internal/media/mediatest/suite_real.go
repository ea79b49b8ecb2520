package mediatest

import (
	"bytes"
	"embed"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"earshot/internal/fault"
	"earshot/internal/frame"
	"earshot/internal/media"
)

// Real recordings, and small files in formats that our engines cannot write.
// testdata/README.md names their sources and licences.
//
//go:embed testdata
var files embed.FS

// fixture copies a file of testdata into a folder of the test's.
func fixture(t *testing.T, name string) string {
	t.Helper()
	b, err := files.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// cameraFiles reads and marries clips of real cameras. What they hold was
// read with MediaInfo and ffprobe.
func (s *suite) cameraFiles(t *testing.T) {
	for _, tt := range []struct {
		file      string
		pictures  int
		rotation  int
		sounds    int
		rate      int
		start     float64 // of the sound
		duration  float64
		created   string
		keep      string // a tag that must still be there
		lost      int    // notes of Limits
		container string
	}{
		{"grid_s2_swwp2s.mpg", 1, 0, 1, 44100, 0, 3.0, "", "", 0, "mpeg"},
		{"iphone4s_portrait.MOV", 1, 90, 1, 44100, 0, 2.068, "2013-11-29T12:19:32Z", "com.apple.quicktime.location.iso6709", 0, "mov"},
		{"iphone4s_sideways_vfr.mov", 1, 90, 1, 44100, 0, 1.017, "2012-05-09T18:46:38Z", "com.apple.quicktime.make", 0, "mov"},
		{"iphone6s_rotated_metadata_tracks.mov", 1, 90, 1, 44100, 0, 0.467, "2016-02-02T17:51:27Z", "com.apple.quicktime.location.iso6709", 2, "mov"},
		{"nasa_13013_speech_two_streams.mp4", 2, 0, 2, 8000, 0, 13.056, "", "", 0, "mp4"},
		{"quicktime2010_vfr_audio_edit_list.mov", 1, 0, 1, 44100, 0.086667, 7.563, "2010-02-05T16:05:04Z", "", 0, "mov"},
	} {
		t.Run(tt.file, func(t *testing.T) {
			path := fixture(t, tt.file)
			info := s.probe(t, path)
			if len(info.Pictures) != tt.pictures || len(info.Sounds) != tt.sounds || info.Container != tt.container {
				t.Fatalf("found %d pictures and %d sounds in %s", len(info.Pictures), len(info.Sounds), info.Container)
			}
			a := info.Sounds[0]
			if info.Pictures[0].Rotation != tt.rotation || a.Rate != tt.rate || math.Abs(a.Start-tt.start) > 1e-5 || math.Abs(info.Duration-tt.duration) > 0.002 {
				t.Errorf("rotation %d, rate %d, sound starts %g, lasts %g", info.Pictures[0].Rotation, a.Rate, a.Start, info.Duration)
			}
			if c := info.Created; tt.created == "" && !c.IsZero() || tt.created != "" && c.Format(time.RFC3339) != tt.created {
				t.Errorf("created %v, want %q", c, tt.created)
			}
			out := filepath.Join(t.TempDir(), "out.mov")
			after := s.married(t, path, out)
			if !after.Created.Equal(info.Created) || (tt.keep != "" && after.Tags[tt.keep] != info.Tags[tt.keep]) || (tt.keep != "" && info.Tags[tt.keep] == "") {
				t.Errorf("created %v, was %v; %s is %q, was %q", after.Created, info.Created, tt.keep, after.Tags[tt.keep], info.Tags[tt.keep])
			}
			if notes := s.engine.Limits(s.plan(t, path, out)); len(notes) != tt.lost {
				t.Errorf("notes are %q, want %d", notes, tt.lost)
			}
			s.sameScratch(t, path, out, info, after)
		})
	}
}

// sameScratch wants the camera's sound sample for sample where it was.
func (s *suite) sameScratch(t *testing.T, path, out string, before, after media.Info) {
	t.Helper()
	for i := range before.Sounds {
		was := s.decode(t, media.Decode{Path: path, Info: &before, Stream: i})
		is := s.decode(t, media.Decode{Path: out, Info: &after, Stream: i + 1})
		n := min(len(was), len(is))
		if n < len(was)-2*1152*before.Sounds[i].Channels {
			t.Errorf("scratch %d holds %d samples, held %d", i, len(is), len(was))
		}
		for k := range n {
			if was[k] != is[k] {
				t.Errorf("scratch %d differs from sample %d of %d on", i, k, n)
				break
			}
		}
	}
}

// damaged cuts files off and breaks them inside: never a hang, never a panic,
// and what can be read is read.
func (s *suite) damaged(t *testing.T) {
	whole := func(r recording) []byte {
		b, err := os.ReadFile(s.make(t, r))
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	mkv := whole(recording{ending: "mkv", container: "mkv", picture: "h264", sound: "aac", rate: 48000, ch: 1})
	mov := whole(camera)
	mp3 := whole(recording{ending: "mp3", container: "mp3", sound: "mp3", rate: 48000, ch: 1})
	bent := bytes.Clone(mp3)
	for i := len(bent) / 3; i < len(bent)/2; i += 7 {
		bent[i] ^= 0x55
	}
	put := func(name string, b []byte) string {
		p := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(p, b, 0o600); err != nil {
			t.Fatal(err)
		}
		return p
	}
	for _, p := range []string{put("half.mkv", mkv[:len(mkv)/2]), put("half.mp3", mp3[:len(mp3)/2]), put("bent.mp3", bent)} {
		if x := s.decode(t, media.Decode{Path: p}); len(x) < 48000/2 {
			t.Errorf("%s: only %d samples came out", filepath.Base(p), len(x))
		}
	}
	first := camera
	first.args = []string{"-movflags", "+faststart"}
	fast := whole(first)
	open := put("fast.mov", fast[:len(fast)*3/4])
	if info := s.probe(t, open); len(info.Warnings) != 1 || !strings.Contains(info.Warnings[0], "cut off") {
		t.Errorf("warnings about a clip that is cut off: %q", info.Warnings)
	}
	if x := s.decode(t, media.Decode{Path: open}); len(x) < 48000 {
		t.Errorf("only %d samples came out of a clip that is cut off", len(x))
	}
	half := put("half.mov", mov[:len(mov)/2])
	_, err := s.engine.Probe(t.Context(), half)
	unreadable(t, "probe", half, err)
	if fault.HintOf(err) == "" || !strings.Contains(err.Error(), "index is missing") {
		t.Errorf("error %q with hint %q does not say that the index is missing", err, fault.HintOf(err))
	}
}

// brokenWAV damages headers as recorders do whose battery ran out.
func (s *suite) brokenWAV(t *testing.T) {
	path := s.make(t, recording{ending: "wav", container: "wav", sound: "pcm_s24le", rate: 48000, ch: 1})
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	at := bytes.Index(whole, []byte("data"))
	for name, size := range map[string]uint32{"never written": 0, "early": 48000, "open": 0xFFFFFFFF, "too large": 0x7FFFFFF0} {
		t.Run(name, func(t *testing.T) {
			b := bytes.Clone(whole)
			binary.LittleEndian.PutUint32(b[4:], size)
			binary.LittleEndian.PutUint32(b[at+4:], size)
			p := filepath.Join(t.TempDir(), "broken.wav")
			if err := os.WriteFile(p, b, 0o600); err != nil {
				t.Fatal(err)
			}
			info := s.probe(t, p)
			if math.Abs(info.Duration-clickLength) > 0.001 || len(info.Warnings) != 1 {
				t.Errorf("lasts %g s with warnings %q", info.Duration, info.Warnings)
			}
			s.click(t, recording{ending: "wav", sound: "pcm_s24le", rate: 48000, ch: 1}, p)
			if n := len(s.decode(t, media.Decode{Path: p})); n != clickLength*48000 {
				t.Errorf("%d samples, want %d", n, int(clickLength*48000))
			}
		})
	}
}

// heldBack feeds a Render from a Decode of the same engine, as marrying does.
func (s *suite) heldBack(t *testing.T) {
	path := s.make(t, camera)
	sound := s.make(t, recording{ending: "wav", container: "wav", sound: "pcm_s24le", rate: 48000, ch: 1})
	out := filepath.Join(t.TempDir(), "out.mov")
	r, w := io.Pipe()
	go func() {
		w.CloseWithError(s.engine.Decode(t.Context(), media.Decode{Path: sound}, func(b []float32) error {
			_, err := w.Write(Bytes(b))
			return err
		}))
	}()
	if err := s.engine.Render(t.Context(), s.plan(t, path, out), r); err != nil {
		t.Fatal(err)
	}
	s.samePicture(t, path, out)
}

// timecode writes a clip with a timecode track and looks for it afterwards.
// Frame 107892 of 29.97 drop-frame is 01:00:00;00 (SMPTE ST 12-1).
func (s *suite) timecode(t *testing.T) {
	for _, ending := range []string{"mov", "mp4"} {
		const tc = "01:00:00;00"
		path := filepath.Join(t.TempDir(), "tc."+ending)
		e := camera.encode(path)
		e.Container = ending
		e.Picture.Rate = frame.Rate{Num: 30000, Den: 1001}
		e.Tags = map[string]string{"timecode": tc, "creation_time": "2026-03-01T10:00:00Z"}
		if err := s.engine.Encode(t.Context(), e); err != nil {
			t.Fatal(err)
		}
		if got := s.probe(t, path).Timecode; got != tc {
			t.Fatalf("%s: timecode is %q", ending, got)
		}
		out := filepath.Join(t.TempDir(), "out.mov")
		after := s.married(t, path, out)
		if after.Timecode != tc || !after.Created.Equal(time.Date(2026, 3, 1, 10, 0, 0, 0, time.UTC)) {
			t.Errorf("%s: timecode is %q, created %v", ending, after.Timecode, after.Created)
		}
		if len(after.Others) != 1 || after.Others[0].Kind != "timecode" {
			t.Errorf("%s: further tracks are %+v", ending, after.Others)
		}
	}
}

// gapless reads an M4A whose delay stands in the iTunSMPB tag, with and without
// an edit list that says the same. The tag holds hexadecimal numbers: nothing,
// priming, remainder, length (common practice; the format is its maker's own).
func (s *suite) gapless(t *testing.T) {
	for _, lists := range []string{"0", "1"} {
		r := recording{ending: "m4a", container: "m4a", sound: "aac", rate: 48000, ch: 1, args: []string{"-use_editlist", lists}}
		path := s.make(t, r)
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		text := fmt.Sprintf(" 00000000 %08X %08X %016X", 1024, 0, int(clickLength*48000))
		if err := os.WriteFile(path, addTag(t, b, "iTunSMPB", text), 0o600); err != nil {
			t.Fatal(err)
		}
		s.click(t, r, path)
	}
}

// spliced joins two streams that differ in their channels, as a damaged stream
// does for a moment: what comes after must stay in its place.
func (s *suite) spliced(t *testing.T) {
	for _, ch := range [][2]int{{1, 2}, {2, 1}} {
		var joined []byte
		for i, n := range ch {
			r := recording{ending: "ts", container: "mpegts", sound: "ac3", rate: 48000, ch: n,
				args: []string{"-output_ts_offset", fmt.Sprint(1 + 3*i)}}
			b, err := os.ReadFile(s.make(t, r))
			if err != nil {
				t.Fatal(err)
			}
			joined = append(joined, b...)
		}
		path := filepath.Join(t.TempDir(), "joined.ts")
		if err := os.WriteFile(path, joined, 0o600); err != nil {
			t.Fatal(err)
		}
		for _, mono := range []bool{false, true} {
			info := s.probe(t, path)
			x := s.decode(t, media.Decode{Path: path, Info: &info, Mono: mono})
			channels := info.Sounds[0].Channels
			if mono {
				channels = 1
			}
			y := channel(x, channels, 0)
			if n := len(y); n < 5*48000 || n > 7*48000 {
				t.Errorf("%v, mono %v: %.2f s came out, want about 6", ch, mono, float64(n)/48000)
				continue
			}
			_, at := clickRecording(48000, 1)
			first, second := findClick(y[:3*48000], 48000, 48000)-float64(at), findClick(y[3*48000:], 48000, 48000)-float64(at)
			if d := second - first; math.Abs(d) > 2 {
				t.Errorf("%v, mono %v: the clicks are off by %+.2f and %+.2f samples", ch, mono, first, second)
			}
		}
	}
}

// hevc marries HEVC, which only one of the engines can write, from MP4 and from
// a transport stream: the same packets, so the same digest everywhere.
func (s *suite) hevc(t *testing.T) {
	mp4, ts := fixture(t, "hevc.mp4"), fixture(t, "hevc.ts")
	s.samePicture(t, mp4, ts)
	for _, path := range []string{mp4, ts} {
		for _, ending := range []string{".mov", ".mp4"} {
			out := filepath.Join(t.TempDir(), "out"+ending)
			s.married(t, path, out)
			b, err := os.ReadFile(out)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Contains(b, []byte("hvc1")) {
				t.Errorf("%s from %s is not tagged hvc1", ending, filepath.Base(path))
			}
		}
	}
}

// enabled reads the track headers of a MOV or MP4 file: bit 0 of their flags
// says that a track is played (QuickTime File Format, "tkhd"; ISO/IEC
// 14496-12, 8.3.2). Pictures, the good sound and nothing of the scratch.
func enabled(t *testing.T, path string, info media.Info) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	moov := b[bytes.LastIndex(b, []byte("moov")):]
	var flags []byte
	for i := bytes.Index(moov, []byte("tkhd")); i >= 0; {
		flags = append(flags, moov[i+7]&1)
		next := bytes.Index(moov[i+4:], []byte("tkhd"))
		if next < 0 {
			break
		}
		i += 4 + next
	}
	n := len(info.Pictures)
	if len(flags) < n+len(info.Sounds) {
		t.Fatalf("found %d track headers", len(flags))
	}
	for i, f := range flags[n : n+len(info.Sounds)] {
		if (f == 1) != (i == 0) {
			t.Errorf("sound track %d: enabled is %d", i, f)
		}
	}
}

// amr reads a recording that neither engine can write. Its codec looks 5 ms
// ahead (3GPP TS 26.071), and its reference decoder plays it 39 to 40 samples late.
func (s *suite) amr(t *testing.T) {
	s.click(t, recording{ending: "amr", sound: "amr_nb", rate: 8000, ch: 1, late: 39.5}, fixture(t, "click.amr"))
}

// addTag appends a free-form tag to moov/udta/meta/ilst of an MP4 file whose
// moov comes last, so that nothing in the file moves.
func addTag(t *testing.T, b []byte, name, text string) []byte {
	t.Helper()
	box := func(kind string, body ...string) string {
		all := strings.Join(body, "")
		return string(binary.BigEndian.AppendUint32(nil, uint32(8+len(all)))) + kind + all
	}
	tag := box("----", box("mean", "\x00\x00\x00\x00com.apple.iTunes"), box("name", "\x00\x00\x00\x00"+name),
		box("data", "\x00\x00\x00\x01\x00\x00\x00\x00"+text))
	end := len(b)
	for _, kind := range []string{"moov", "udta", "meta", "ilst"} {
		i := bytes.LastIndex(b, []byte(kind)) - 4
		if i < 0 || i+int(binary.BigEndian.Uint32(b[i:])) != end {
			t.Fatalf("%s does not end the file", kind)
		}
		binary.BigEndian.PutUint32(b[i:], uint32(end-i+len(tag)))
	}
	return append(b, tag...)
}
