package ffmpeg

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"earshot/internal/frame"
)

// The files of testdata/ffprobe are what ffprobe 5.1.9 wrote about real clips.
func TestReadProbe(t *testing.T) {
	for _, tt := range []struct {
		file, container      string
		pictures, sounds     int
		rotation             int
		rate                 frame.Rate
		zero, start, seconds float64
		timecode             string
		others               []string // kind and codec
	}{
		{"action.json", "mp4", 1, 1, 0, frame.Rate{Num: 30000, Den: 1001}, 0, 0, 10.517333, "15:44:35:10",
			[]string{"timecode tmcd", "data gpmd", "data fdsc"}},
		{"phone.json", "mov", 1, 1, 90, frame.Rate{Num: 30, Den: 1}, 0, 0, 0.466667, "", []string{"data mebx", "data mebx"}},
		{"emptyedit.json", "mov", 1, 1, 0, frame.Rate{Num: 24600, Den: 1469}, 0, 0.086667, 7.563492, "", nil},
		{"transport.json", "mpegts", 1, 1, 0, frame.Rate{Num: 25, Den: 1}, 1.48, -0.005333, 3, "", nil},
		{"cover.json", "mp3", 0, 1, 0, frame.Rate{}, 0.025057, 0, 1.044898, "", []string{"still mjpeg"}},
	} {
		b, err := os.ReadFile(filepath.Join("testdata", "ffprobe", tt.file))
		if err != nil {
			t.Fatal(err)
		}
		info, err := readProbe(b)
		if err != nil {
			t.Errorf("%s: %v", tt.file, err)
			continue
		}
		if info.Container != tt.container || len(info.Pictures) != tt.pictures || len(info.Sounds) != tt.sounds || info.Timecode != tt.timecode {
			t.Errorf("%s: %s with %d pictures, %d sounds, timecode %q", tt.file, info.Container, len(info.Pictures), len(info.Sounds), info.Timecode)
		}
		for _, p := range info.Pictures {
			if p.Rotation != tt.rotation || p.Rate != tt.rate || p.Start != 0 {
				t.Errorf("%s: picture %+v", tt.file, p)
			}
		}
		near := func(a, b float64) bool { return math.Abs(a-b) < 2e-6 }
		if !near(info.Zero, tt.zero) || !near(info.Sounds[0].Start, tt.start) || !near(info.Duration, tt.seconds) {
			t.Errorf("%s: zero %g, sound at %g, lasts %g", tt.file, info.Zero, info.Sounds[0].Start, info.Duration)
		}
		var others []string
		for _, o := range info.Others {
			others = append(others, o.Kind+" "+o.Codec)
		}
		if len(others) != len(tt.others) {
			t.Errorf("%s: others are %q, want %q", tt.file, others, tt.others)
			continue
		}
		for i := range others {
			if others[i] != tt.others[i] {
				t.Errorf("%s: others are %q, want %q", tt.file, others, tt.others)
			}
		}
	}
}

func TestRate(t *testing.T) {
	for _, tt := range []struct {
		nominal, mean string
		want          frame.Rate
	}{
		{"30000/1001", "30000/1001", frame.Rate{Num: 30000, Den: 1001}},
		{"30000/1001", "359641/12000", frame.Rate{Num: 30000, Den: 1001}}, // 29.9701: the same rate, measured
		{"600/1", "24600/1469", frame.Rate{Num: 24600, Den: 1469}},        // variable
		{"25/1", "0/0", frame.Rate{Num: 25, Den: 1}},
		{"0/0", "0/0", frame.Rate{}},
		{"x", "-1/2", frame.Rate{}},
		{"50/2", "50/2", frame.Rate{Num: 25, Den: 1}},
	} {
		if got := rate(tt.nominal, tt.mean); got != tt.want {
			t.Errorf("rate(%q, %q) = %v, want %v", tt.nominal, tt.mean, got, tt.want)
		}
	}
}

func FuzzReadProbe(f *testing.F) {
	files, err := filepath.Glob("testdata/ffprobe/*.json")
	if err != nil || len(files) == 0 {
		f.Fatal("no examples", err)
	}
	for _, p := range files {
		b, err := os.ReadFile(p)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		info, err := readProbe(b)
		if err != nil {
			return
		}
		for _, s := range info.Sounds {
			if s.Rate <= 0 || s.Channels <= 0 || math.IsNaN(s.Start) || math.IsInf(s.Start, 0) || s.Duration < 0 {
				t.Errorf("sound %+v", s)
			}
		}
		for _, p := range info.Pictures {
			if p.Width <= 0 || p.Height <= 0 || p.Rotation%90 != 0 || p.Rotation < 0 || p.Rotation > 270 {
				t.Errorf("picture %+v", p)
			}
		}
		if math.IsNaN(info.Duration) || math.IsInf(info.Duration, 0) {
			t.Errorf("lasts %g", info.Duration)
		}
	})
}

// What names stand for in numbers is in FFmpeg's avcodec.h and profiles.c.
func TestProfile(t *testing.T) {
	for _, tt := range [][3]string{
		{"h264", "High", "High"}, {"h264", "100", "High"}, {"h264", "578", "Constrained Baseline"}, {"h264", "unknown", ""},
		{"hevc", "2", "Main 10"}, {"h264", "2", "2"}, {"prores", "HQ", ""}, {"h264", "", ""},
	} {
		if got := profile(tt[0], tt[1]); got != tt[2] {
			t.Errorf("profile %q of %s is %q, want %q", tt[1], tt[0], got, tt[2])
		}
	}
	b, err := os.ReadFile(filepath.Join("testdata", "ffprobe", "phone.json"))
	if err != nil {
		t.Fatal(err)
	}
	info, err := readProbe(b)
	if err != nil || info.Pictures[0].Profile != "High" || info.Pictures[0].Level != 31 {
		t.Errorf("got %+v, %v", info.Pictures, err)
	}
}
