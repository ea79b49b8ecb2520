package web

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"

	"earshot/internal/desk"
	"earshot/internal/shoot"
)

// The lesson is a shoot that never happened: an afternoon at a workbench, one
// camera, a phone with a body mic, a second recorder for a while. Ids are as
// opaque as the desk's.
const (
	c7, c8, c9     = "k3w7f2ma", "p9d4x1qe", "z6t8c5nb" // clips C0007 to C0009
	c10, c11, c12  = "h2r5v8yk", "m7b1j4sd", "w4n9g6tu"
	c13, c14       = "f8q2l5xa", "d1y7k3hc"
	phone1, phone2 = "s5e9u2rv", "b3z6o8mw" // rec_20260114_101502, rec_20260114_113040
	beltpack       = "j7c2t4gp"             // the second recorder
	memo, late     = "n4x8a1fz", "v6l3d9ke" // a memo of no clip; a sound just added
	lessonFolder   = "/data/lessons/dovetail joint"
	lessonVersion  = 184
	lessonCard     = "/media/CARD/PRIVATE/M4ROOT/CLIP"
	lessonPhone    = lessonFolder + "/phone"
	lessonMarried  = lessonFolder + "/married"
	lessonNotes1   = "C0014.MP4 was passed over: it ends in the middle of a picture"
	lessonNotes2   = "of two copies of rec_20260114_101502.m4a one is used"
)

// lesson is every sample, by its file's name.
func lesson() map[string]any {
	return map[string]any{
		"state":    lessonState(),
		"patch":    lessonPatch(),
		"detail":   lessonDetail(),
		"strip":    lessonStrip(),
		"places":   lessonPlaces(),
		"folder":   lessonInside(),
		"marriage": lessonMarriage(),
	}
}

func ptr[T any](v T) *T { return &v }

func lessonState() desk.State {
	return desk.State{
		Version: lessonVersion,
		Shoot: desk.Shoot{Folder: lessonFolder, Name: "dovetail joint",
			Paths: []string{lessonCard, lessonPhone, lessonFolder + "/belt/DR0021.WAV"}},
		Work:       desk.Work{Busy: true, Step: "lining up", File: "C0013.MP4", Done: 6, Total: 7},
		Recordings: append(lessonClips(), lessonSounds()...),
		Takes:      lessonTakes(),
		Undo:       &shoot.Step{Label: "laid 1.0 ms later", Clip: c8},
		Redo:       nil,
		Marriage:   lessonMarriage(),
		Notes:      []string{lessonNotes1, lessonNotes2},
	}
}

// lessonPatch is what came a moment after the state: the last clip was lined
// up, a memo was taken away, the second clip approved.
func lessonPatch() desk.Patch {
	takes := lessonTakes()
	approved, found := takes[1], takes[5]
	approved.Word.Approved, approved.Status = true, "done"
	found.Verdict, found.Chance, found.Seam = "sure", 2.2e-9, 0.21
	found.Line = shoot.Line{Offset: 2008.7412, Drift: 18.9}
	found.Why = []string{"57 of 61 windows agree within 0.21 ms"}
	found.From, found.To, found.Status = 0, 301.64, "done"
	return desk.Patch{
		Version: lessonVersion + 3,
		Work:    &desk.Work{Busy: false, Done: 7, Total: 7},
		Takes:   []desk.Take{approved, found},
		Gone:    []string{memo},
		History: &desk.History{Undo: &shoot.Step{Label: "approved", Clip: c8}},
	}
}

func lessonClips() []desk.Recording {
	clip := func(id, name, made string, length float64, day *float64) desk.Recording {
		return desk.Recording{ID: id, Path: lessonCard + "/" + name, Name: name, Kind: "clip", State: "read", Done: 1,
			Length: length, Made: made, Day: day, Device: "camera 1",
			Picture: &desk.Picture{Width: 1920, Height: 1080, FPS: 25, Rate: "25", Codec: "h264", Timecode: "10:18:41:14",
				Type: `video/mp4; codecs="avc1.640028"`},
			Tracks: []desk.Track{{Rate: 48000, Channels: 2}}}
	}
	out := []desk.Recording{
		clip(c7, "C0007.MP4", "2026-01-14T10:18:41+01:00", 412.84, ptr(219.613)),
		clip(c8, "C0008.MP4", "2026-01-14T10:27:03+01:00", 187.2, ptr(721.348)),
		clip(c9, "C0009.MP4", "2026-01-14T10:31:55+01:00", 36.08, ptr(1013.907)),
		clip(c10, "C0010.MP4", "2026-01-14T10:58:20+01:00", 14.52, nil),
		clip(c11, "C0011.MP4", "2026-01-14T11:33:12+01:00", 1544.96, ptr(4690.225)),
		clip(c12, "C0012.MP4", "2026-01-14T12:01:47+01:00", 8.76, ptr(6405.1)),
		clip(c13, "C0013.MP4", "2026-01-14T12:04:09+01:00", 301.64, ptr(6547.04)),
		clip(c14, "C0014.MP4", "2026-01-14T12:12:30+01:00", 0, nil),
	}
	for i, code := range []string{"10:18:41:14", "10:27:03:08", "10:31:55:22", "10:58:20:01", "11:33:12:05", "12:01:47:19", "12:04:09:10", ""} {
		out[i].Picture.Timecode = code
	}
	out[3].Alone = []string{"no sound heard it: the nearest thing to a match stands 2.1 times above the noise, like chance"}
	out[5].Tracks = append(out[5].Tracks, desk.Track{Rate: 48000, Channels: 2, Silent: true})
	out[7].State, out[7].Done, out[7].Tracks = "failed", 0, []desk.Track{}
	out[7].Error = `read clip "C0014.MP4": it ends in the middle of a picture`
	return out
}

func lessonSounds() []desk.Recording {
	return []desk.Recording{
		{ID: phone1, Path: lessonPhone + "/rec_20260114_101502.m4a", Name: "rec_20260114_101502.m4a", Kind: "sound", State: "read", Done: 1,
			Length: 3904.512, Made: "2026-01-14T10:15:02+01:00", Day: ptr(0.0), Device: "recorder 1", Tracks: []desk.Track{{Rate: 44100, Channels: 1}}},
		{ID: phone2, Path: lessonPhone + "/rec_20260114_113040.m4a", Name: "rec_20260114_113040.m4a", Kind: "sound", State: "read", Done: 1,
			Length: 2711.04, Made: "2026-01-14T11:30:40+01:00", Day: ptr(4538.3), Device: "recorder 1", Tracks: []desk.Track{{Rate: 44100, Channels: 1}}},
		{ID: beltpack, Path: lessonFolder + "/belt/DR0021.WAV", Name: "DR0021.WAV", Kind: "sound", State: "read", Done: 1,
			Length: 1802.2, Made: "2015-01-01T00:04:11Z", Day: ptr(4655.71), Device: "recorder 2", Tracks: []desk.Track{{Rate: 48000, Channels: 2}}},
		{ID: memo, Path: lessonPhone + "/shopping – Äpfel & Leim.m4a", Name: "shopping – Äpfel & Leim.m4a", Kind: "sound", State: "read", Done: 1,
			Length: 21.3, Made: "2026-01-13T18:40:00+01:00", Device: "recorder 1", Tracks: []desk.Track{{Rate: 44100, Channels: 1}},
			Alone: []string{"no clip heard it: the nearest thing to a match stands 1.7 times above the noise, like chance"}},
		{ID: late, Path: lessonPhone + "/rec_20260114_142210.m4a", Name: "rec_20260114_142210.m4a", Kind: "", State: "reading", Done: 0.37,
			Device: "", Tracks: []desk.Track{}},
	}
}

func lessonTakes() []desk.Take {
	none := []string{}
	return []desk.Take{
		{ID: c7, Sound: phone1, Others: none, Verdict: "sure", Status: "done", Why: []string{"80 of 83 windows agree within 0.19 ms", "3 claps agree"},
			Chance: 1.4e-12, Line: shoot.Line{Offset: 219.61287, Drift: 18.62}, Seam: 0.19, From: 0, To: 412.84,
			Word: shoot.Word{Approved: true, Name: "01 marking out"}},
		{ID: c8, Sound: phone1, Others: none, Verdict: "sure", Status: "look", Why: []string{"35 of 38 windows agree within 0.24 ms"},
			Chance: 8.1e-10, Line: shoot.Line{Offset: 721.34655, Drift: 18.71}, Moved: 1, Seam: 0.24, From: 0, To: 187.2,
			Word: shoot.Word{Line: &shoot.Line{Offset: 721.34655, Drift: 18.71}, Note: "saw is loud"}},
		{ID: c9, Sound: phone1, Others: none, Verdict: "unsure", Status: "look",
			Why:    []string{"two places fit almost alike: hammer blows repeat", "4 of 7 windows agree within 0.8 ms"},
			Chance: 0.31, Line: shoot.Line{Offset: 1013.9068}, Seam: 0.8, From: 0, To: 36.08,
			Word: shoot.Word{Refused: []string{phone2}}},
		{ID: c11, Sound: beltpack, Others: []string{phone2}, Verdict: "sure", Status: "done",
			Why:    []string{"290 of 309 windows agree within 0.31 ms", `also heard by "rec_20260114_113040.m4a"`, "the recorder lost 12.4 ms at 14:03"},
			Chance: 1.1e-15, Line: shoot.Line{Offset: 34.51502, Drift: -6.4}, Seam: 0.31, From: 0, To: 1544.96,
			Word: shoot.Word{Approved: true, Sound: beltpack}},
		{ID: c12, Sound: phone2, Others: none, Verdict: "hand", Status: "done", Why: []string{"too short to be told from chance; a person laid it here"},
			Chance: 1, Line: shoot.Line{Offset: 1866.8, Drift: 18.65}, From: 0, To: 8.76,
			Word: shoot.Word{Approved: true, Sound: phone2, Line: &shoot.Line{Offset: 1866.8, Drift: 18.65}}},
		{ID: c13, Sound: phone2, Others: none, Verdict: "weighing", Status: "look", Why: none, Chance: 1, Line: shoot.Line{Offset: 2008.74},
			From: 0, To: 301.64},
	}
}

// lessonDetail is the take whose recorder lost some sound.
func lessonDetail() desk.Detail {
	d := desk.Detail{
		Take:       lessonTakes()[3],
		Measured:   []desk.Span{{From: 0, To: 843.2, Offset: 34.51502, Drift: -6.4}, {From: 843.2, To: 1544.96, Offset: 34.50262, Drift: -6.4}},
		Windows:    []desk.Window{},
		Claps:      []desk.Clap{{Clip: 4.21834, Sound: 38.73333}, {Clip: 1540.007, Sound: 1574.49977}},
		Inverted:   true,
		Sigma:      0.012,
		DriftSigma: ptr(0.09),
		Through:    []string{},
		Married:    ptr(lessonMarriage().Clips[1]),
		Candidates: []desk.Candidate{
			{Sound: phone2, Line: shoot.Line{Offset: 151.92, Drift: 18.6}, Strength: 88.4, For: []string{"heard all along the clip"}, Against: []string{}},
			{Sound: beltpack, Line: shoot.Line{Offset: 611.3}, Strength: 5.2, For: []string{}, Against: []string{"only 9 of 309 windows agree"}},
		},
	}
	d.Laid = append(d.Laid, d.Measured...)
	for i := range 52 { // one in thirty seconds
		at := 15 + 30*float64(i)
		line := d.Measured[0]
		if at >= line.To {
			line = d.Measured[1]
		}
		left := float64((i*37)%11-5) * 6e-5 // up to 0.3 ms
		heard := i%17 != 16
		if !heard {
			left *= 9
		}
		d.Windows = append(d.Windows, desk.Window{At: at, Sound: micro(line.Offset + (1+line.Drift*1e-6)*at + left), Error: 0.08, Heard: heard})
	}
	return d
}

// micro rounds to a millionth, so that the samples are short.
func micro(x float64) float64 { return float64(int64(x*1e6+0.5)) / 1e6 }

// lessonStrip is eleven frames around the clap at 4.2 s: a board that comes
// down on a bench.
func lessonStrip() desk.Strip {
	s := desk.Strip{Middle: 5}
	for i := range 11 {
		n := 100 + i
		s.Frames = append(s.Frames, desk.Frame{At: micro(float64(n) / 25), Until: micro(float64(n+1) / 25), JPEG: lessonFrame(i)})
	}
	return s
}

func lessonFrame(i int) []byte {
	m := image.NewGray(image.Rect(0, 0, 32, 18))
	board := min(2+2*i, 12) // its upper edge, until it lies on the bench
	for y := range 18 {
		for x := range 32 {
			switch {
			case y >= 14:
				m.SetGray(x, y, color.Gray{Y: 70})
			case y >= board && y < board+2 && x >= 6 && x < 26:
				m.SetGray(x, y, color.Gray{Y: 220})
			default:
				m.SetGray(x, y, color.Gray{Y: 30})
			}
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 60}); err != nil {
		panic(err) // into memory
	}
	return b.Bytes()
}

func lessonPlaces() desk.Places {
	return desk.Places{Places: []desk.Place{
		{Name: "Home", Path: "/data", Kind: "home"},
		{Name: "CARD", Path: "/media/CARD", Kind: "drive"},
		{Name: "PHONE", Path: "/media/PHONE", Kind: "drive"},
	}}
}

func lessonInside() desk.Folder {
	return desk.Folder{Path: lessonFolder, Up: "/data/lessons",
		Folders: []desk.Inside{
			{Name: "belt", Path: lessonFolder + "/belt", Recordings: 1},
			{Name: "phone", Path: lessonPhone, Recordings: 4},
			{Name: "stills & notes", Path: lessonFolder + "/stills & notes", Recordings: 0},
		},
		Recordings: []desk.InsideRec{
			{Name: "bench, wide.mov", Path: lessonFolder + "/bench, wide.mov", Bytes: 5312874496},
			{Name: "glue-up <try 2>.mp4", Path: lessonFolder + "/glue-up <try 2>.mp4", Bytes: 88213504},
		}}
}

func lessonMarriage() desk.Marriage {
	return desk.Marriage{Done: 4, Total: 4, To: lessonMarried, Report: lessonMarried + "/report.json",
		Clips: []desk.Married{
			{Take: c7, Out: lessonMarried + "/01 marking out.mov", State: "written",
				Proof: &desk.Proof{State: "in sync", Late: 0.02, Sigma: 0.03, P95: 0.22,
					Windows: []desk.Left{{At: 10, Late: 0.04}, {At: 140, Late: -0.11}, {At: 270, Late: 0.2}, {At: 400, Late: 0.02}},
					Why:     []string{"the match stands 61 times above the noise; 80 of 83 windows heard it alone"}}},
			{Take: c11, Out: lessonMarried + "/C0011_married.mov", State: "kept",
				Proof: &desk.Proof{State: "in sync", Late: -0.05, Sigma: 0.04, P95: 0.33,
					Windows: []desk.Left{{At: 15, Late: -0.1}, {At: 855, Late: 0.08}, {At: 1530, Late: -0.02}}, Why: []string{}}},
			{Take: c9, State: "passed", Why: []string{"unsure, and nothing is guessed"}},
			{Take: c12, State: "failed", Error: `write "C0012_married.mov": the disk is full`},
		}}
}
