package app

import (
	"context"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"earshot/internal/dsp"
	"earshot/internal/media/mediatest"
	"earshot/internal/scene"
	"earshot/internal/shoot"
)

// film renders a scene of one clip and some sounds into a folder of the fake
// engine's files, pairs it and returns the document.
func film(t *testing.T, s *scene.Scene) shoot.Document {
	t.Helper()
	dir := t.TempDir()
	for i := range s.Clips {
		samples := s.Render(&s.Clips[i], dsp.ProxyRate)
		writeFake(t, filepath.Join(dir, s.Clips[i].Name), mediatest.Clip(picture, dsp.ProxyRate, 1, time.Time{}, samples, nil))
	}
	for i := range s.Sounds {
		samples := s.Render(&s.Sounds[i], dsp.ProxyRate)
		writeFake(t, filepath.Join(dir, s.Sounds[i].Name), mediatest.Sound(dsp.ProxyRate, 1, time.Time{}, samples))
	}
	a, _ := newApp(t)
	result, err := a.Pair(context.Background(), PairOptions{Paths: []string{dir}})
	if err != nil {
		t.Fatal(err)
	}
	return result.Document
}

// room is a camera two metres off in a small room.
func room() scene.Path {
	box := scene.Shoebox{Size: [3]float64{5, 4, 2.6}, Talker: [3]float64{1.5, 1.2, 1.5}, Mic: [3]float64{3.4, 1.9, 1.4}, RT60: 0.4}
	return scene.Path{Flight: box.Flight(), Room: box.Response(48000), Gain: 0.3}
}

func camera(start, length float64) scene.Device {
	return scene.Device{Name: "CARD/C0001.MP4", Clock: scene.Clock{Start: start}, Length: length,
		Paths: []scene.Path{room()}, Floor: -62, Seed: 1}
}

func recorder(name string, start, length float64, seed uint64) scene.Device {
	return scene.Device{Name: name, Clock: scene.Clock{Start: start, PPM: 45}, Length: length,
		Paths: []scene.Path{{Flight: 0.0006}}, Floor: -66, Seed: seed}
}

// One clap and silence: found, and never called sure.
func TestOneClapInSilence(t *testing.T) {
	s := &scene.Scene{
		Talk:   []scene.Utterance{scene.ClapAt(6, 3, 0)},
		Clips:  []scene.Device{camera(2, 12)},
		Sounds: []scene.Device{recorder("PHONE/r1.wav", 0, 20, 2)},
	}
	doc := film(t, s)
	if len(doc.Takes) != 1 {
		t.Fatalf("%d takes, want the one: %+v", len(doc.Takes), doc.Alone)
	}
	take, truth := doc.Takes[0], s.Truth()[0]
	if take.Verdict != shoot.Unsure {
		t.Errorf("%s, want unsure: one clap is like another", take.Verdict)
	}
	if e := math.Abs(take.Offset-truth.Offset) * 1e3; e > 2 {
		t.Errorf("off by %.2f ms, want within 2", e)
	}
	if len(take.Claps) != 1 || math.Abs(take.Claps[0].Clip-truth.ClipClaps[0]) > 0.003 || math.Abs(take.Claps[0].Sound-truth.SoundClaps[0]) > 0.003 {
		t.Errorf("claps %+v, want one at %.3f and %.3f s", take.Claps, truth.ClipClaps[0], truth.SoundClaps[0])
	}
	if take.DriftFrom != shoot.FromNone || take.Drift != 0 {
		t.Errorf("drift %.1f ppm from %s, want 0 from none", take.Drift, take.DriftFrom)
	}
	if !strings.Contains(strings.Join(take.Why, " "), "clap") {
		t.Errorf("why: %q", take.Why)
	}
}

// A take of five seconds that stands alone knows its drift to a few ppm, and its
// place.
func TestLoneShortTake(t *testing.T) {
	phrases, err := scene.Phrases()
	if err != nil {
		t.Fatal(err)
	}
	s := &scene.Scene{
		Talk: []scene.Utterance{{At: 3, Excerpt: phrases[0]}, {At: 3.2 + phrases[0].Length(), Excerpt: phrases[1]},
			{At: 3.4 + phrases[0].Length() + phrases[1].Length(), Excerpt: phrases[2]}},
		Clips:  []scene.Device{camera(3, 5)},
		Sounds: []scene.Device{recorder("PHONE/r1.wav", 0, 15, 2)},
	}
	doc := film(t, s)
	if len(doc.Takes) != 1 {
		t.Fatalf("%d takes, want the one: %+v", len(doc.Takes), doc.Alone)
	}
	take, truth := doc.Takes[0], s.Truth()[0]
	if off := math.Abs(take.Drift - truth.Drift*1e6); take.Verdict != shoot.Sure || off > 3*take.DriftSigma || take.DriftSigma > 10 {
		t.Errorf("%s, drift %.1f ± %.1f ppm, want sure, %.1f", take.Verdict, take.Drift, take.DriftSigma, truth.Drift*1e6)
	}
	mid := (take.Spans[0].Clip[0] + take.Spans[0].Clip[1]) / 2
	found := take.Offset + (1+take.Drift*1e-6)*mid
	want := truth.Offset + (1+truth.Drift)*mid
	if e := math.Abs(found-want) * 1e3; e > 0.01 {
		t.Errorf("off by %.3f ms in the middle, want within 0.01", e)
	}
	if e := math.Abs(take.Offset - truth.Offset); e > 3*take.OffsetSigma {
		t.Errorf("off by %.3f ms at 0, over three times its sigma of %.3f ms", e*1e3, take.OffsetSigma*1e3)
	}
}

// A clip too short to be told from chance says so; a long one does not.
func TestTooShortSaysSo(t *testing.T) {
	s := &scene.Scene{
		Talk:   []scene.Utterance{scene.ClapAt(6, 3, 0)},
		Clips:  []scene.Device{camera(12, 0.5)},
		Sounds: []scene.Device{recorder("PHONE/r1.wav", 0, 20, 2)},
	}
	for _, alone := range film(t, s).Alone {
		short := strings.Contains(strings.Join(alone.Why, " "), "0.5 s of sound it is too short")
		if short != (alone.Kind == "clip") {
			t.Errorf("%s: why %q", alone.Path, alone.Why)
		}
	}
}
