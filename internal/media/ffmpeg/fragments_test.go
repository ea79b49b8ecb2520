package ffmpeg

import (
	"encoding/binary"
	"math"
	"os"
	"os/exec"
	"slices"
	"testing"
)

// fragment builds a moof and an mdat by hand, after ISO/IEC 14496-12, 8.8: one
// track, one sample of so many frames, at a 64-bit time.
func fragment(at int64, channels int, x ...float32) []byte {
	be := binary.BigEndian
	box := func(kind string, body []byte) []byte {
		return append(append(be.AppendUint32(nil, uint32(8+len(body))), kind...), body...)
	}
	frames := uint32(len(x) / channels)
	tfhd := be.AppendUint32(be.AppendUint32(be.AppendUint32(nil, 0x020008), 1), frames) // default-base-is-moof, duration
	tfdt := be.AppendUint64(be.AppendUint32(nil, 0x01000000), uint64(at))
	trun := be.AppendUint32(be.AppendUint32(nil, 0), 1)
	traf := slices.Concat(box("tfhd", tfhd), box("tfdt", tfdt), box("trun", trun))
	var data []byte
	for _, v := range x {
		data = be.AppendUint32(data, 0)
		binary.LittleEndian.PutUint32(data[len(data)-4:], math.Float32bits(v))
	}
	return slices.Concat(box("moof", slices.Concat(box("mfhd", make([]byte, 8)), box("traf", traf))), box("mdat", data))
}

func TestFragments(t *testing.T) {
	for _, tt := range []struct {
		name     string
		channels int
		parts    [][]byte
		want     []float32
	}{
		{"in a row", 1, [][]byte{fragment(100, 1, 1, 2, 3), fragment(103, 1, 4)}, []float32{1, 2, 3, 4}},
		{"a hole is silence", 1, [][]byte{fragment(100, 1, 1), fragment(105, 1, 2)}, []float32{1, 0, 0, 0, 0, 2}},
		{"a late start is silence", 2, [][]byte{fragment(103, 2, 1, 2)}, []float32{0, 0, 0, 0, 0, 0, 1, 2}},
		{"what was there is cut", 1, [][]byte{fragment(90, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 2, 3)}, []float32{2, 3}},
		{"what comes twice is dropped", 1, [][]byte{fragment(100, 1, 1, 2, 3, 4), fragment(100, 1, 9, 9, 9), fragment(104, 1, 5)}, []float32{1, 2, 3, 4, 5}},
		{"rounding is no hole", 1, [][]byte{fragment(100, 1, 1), fragment(102, 1, 2), fragment(101, 1, 3)}, []float32{1, 2, 3}},
		{"fewer channels", 2, [][]byte{fragment(100, 2, 1, 2), fragment(101, 1, 3)}, []float32{1, 2, 3, 3}},
		{"more channels", 1, [][]byte{fragment(100, 1, 1), fragment(101, 2, 2, 9)}, []float32{1, 2}},
	} {
		for _, step := range []int{1, 7, 1 << 20} {
			var got []float32
			p := &placer{channels: tt.channels, most: 1 << 40, next: 100, fn: func(x []float32) error { got = append(got, x...); return nil }}
			f := &fragments{take: p.take}
			for b := range slices.Chunk(slices.Concat(tt.parts...), step) {
				if err := f.write(b); err != nil {
					t.Fatalf("%s: %v", tt.name, err)
				}
			}
			if err := p.flush(); err != nil || !slices.Equal(got, tt.want) {
				t.Errorf("%s, %d bytes at a time: got %v, want %v", tt.name, step, got, tt.want)
			}
		}
	}
}

func FuzzFragments(f *testing.F) {
	f.Add(slices.Concat(fragment(100, 1, 1, 2, 3), fragment(103, 1, 4)))
	f.Add([]byte("\x00\x00\x00\x08moof\x00\x00\x00\x0cmdatabcd"))
	f.Fuzz(func(t *testing.T, b []byte) {
		frames := 0
		p := &placer{channels: 2, most: 1 << 40, fn: func(x []float32) error {
			if frames += len(x) / 2; len(x)%2 != 0 {
				t.Errorf("%d samples for two channels", len(x))
			}
			if frames > 1<<16 {
				return errFragment // a wild time makes a long silence
			}
			return nil
		}}
		r := &fragments{take: p.take}
		_ = r.write(b)
	})
}

// The engine's own fragments, from a native ffmpeg.
func TestFragmentsOfFFmpeg(t *testing.T) {
	out, err := exec.Command("ffmpeg", "-v", "error", "-f", "lavfi", "-i", "aevalsrc=0.25:s=8000:d=1", "-af", "asetpts=PTS+4000",
		"-c:a", "pcm_f32le", "-f", "mov", "-copyts", "-avoid_negative_ts", "disabled",
		"-movflags", "empty_moov+frag_every_frame+default_base_moof+frag_discont+omit_tfhd_offset+skip_trailer", "pipe:1").Output()
	if err != nil && os.Getenv("EARSHOT_REFERENCE") != "1" {
		t.Skip("no native ffmpeg: ", err)
	}
	var got []float32
	p := &placer{channels: 1, most: 1 << 40, fn: func(x []float32) error { got = append(got, x...); return nil }}
	if err := (&fragments{take: p.take}).write(out); err != nil {
		t.Fatal(err)
	}
	if err := p.flush(); err != nil || len(got) != 12000 || got[3999] != 0 || got[4000] != 0.25 || got[11999] != 0.25 {
		t.Errorf("got %d samples, %v", len(got), err)
	}
}
