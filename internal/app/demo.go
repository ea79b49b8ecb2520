package app

import (
	"context"
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"

	"earshot/internal/align"
	"earshot/internal/fault"
	"earshot/internal/scene"
	"earshot/internal/shoot"
)

// DemoOptions asks for the demo shoot.
type DemoOptions struct {
	To       string // folder; "" = "earshot-demo"
	Version  string // of the program, for the report
	Progress func(Progress)
}

// DemoResult holds found against true.
type DemoResult struct {
	Dir    string       `json:"dir"`
	Takes  []DemoTake   `json:"takes"`
	Right  bool         `json:"right"` // every take within the limit, every alone recording alone
	Result *MarryResult `json:"result"`
}

// A DemoTake compares one recording's outcome with the truth.
type DemoTake struct {
	Clip        string  `json:"clip"`
	Sound       string  `json:"sound"`
	Verdict     string  `json:"verdict"`
	TrueOffset  float64 `json:"true_offset_s"`
	FoundOffset float64 `json:"found_offset_s"`
	TrueDrift   float64 `json:"true_drift_ppm"`
	FoundDrift  float64 `json:"found_drift_ppm"`
	WorstError  float64 `json:"worst_error_ms"` // largest |found - true| along the covered part of the clip
	Right       bool    `json:"right"`
	Note        string  `json:"note,omitempty"` // "clap forgotten", "sound stops early", "no sound: alone, as it should be"
}

// demoLimit is the largest error a demo take may show anywhere along it, ms.
const demoLimit = 0.1

// Demo makes a shoot of our own invention with known truth, marries it, and
// compares. What it made the last time is married anew.
func (a *App) Demo(ctx context.Context, opt DemoOptions) (*DemoResult, error) {
	if opt.To == "" {
		opt.To = "earshot-demo"
	}
	shot, written, err := a.makeDemo(ctx, opt.To, opt.Progress)
	if err != nil {
		return nil, err
	}
	paths := demoPaths(opt.To)
	to := filepath.Join(opt.To, "married")
	result, err := a.Marry(ctx, MarryOptions{Paths: paths, To: to, Again: true, Version: opt.Version, Progress: opt.Progress})
	if err != nil {
		return nil, err
	}
	d := &DemoResult{Dir: opt.To, Result: result, Right: true}
	d.compare(shot, written)
	for _, t := range d.Takes {
		d.Right = d.Right && t.Right
	}
	for _, c := range result.Clips {
		d.Right = d.Right && c.State == Written && c.Proof != nil && c.Proof.State == InSync
	}
	return d, nil
}

// DemoShoot makes the demo's shoot in dir, and returns its folders.
func (a *App) DemoShoot(ctx context.Context, dir string, progress func(Progress)) ([]string, error) {
	if _, _, err := a.makeDemo(ctx, dir, progress); err != nil {
		return nil, err
	}
	return demoPaths(dir), nil
}

func demoPaths(dir string) []string {
	return []string{filepath.Join(dir, "CARD"), filepath.Join(dir, "PHONE")}
}

func (a *App) makeDemo(ctx context.Context, dir string, progress func(Progress)) (*scene.Scene, *scene.Written, error) {
	tell := newTeller(progress)
	shot, err := scene.Demo()
	if err != nil {
		return nil, nil, err
	}
	if err := clearDemo(dir, shot); err != nil {
		return nil, nil, err
	}
	made := 0
	written, err := scene.Write(ctx, a.Engine, dir, shot, func(name string) {
		made++
		tell.step("making the shoot", name, float64(made), float64(len(shot.Clips)+len(shot.Sounds)))
	})
	return shot, written, err
}

// demoNote stands in the demo's folder and says whose it is. Without it nothing
// in a folder is replaced.
const (
	demoNote     = "README.txt"
	demoNoteText = `This shoot never happened: earshot demo made it, with the truth known.
CARD holds what the camera would have written, PHONE what the phone would have,
married the finished clips. Running the demo again replaces them all.
`
)

// clearDemo makes room for the demo: an empty folder, or what an earlier demo
// left.
func clearDemo(dir string, shot *scene.Scene) error {
	refuse := func(why error, hint string) error {
		return &fault.Error{Kind: fault.Unwritable, Op: "make the demo in", Subject: dir, Err: fault.Cause(why), Hint: hint}
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return refuse(err, "choose another folder with --to")
	}
	there, err := os.ReadDir(dir)
	if err != nil {
		return refuse(err, "choose another folder with --to")
	}
	note, _ := os.ReadFile(filepath.Join(dir, demoNote))
	if len(there) > 0 && string(note) != demoNoteText {
		return refuse(errors.New("it holds something else"), "choose an empty or new folder with --to")
	}
	sweep(dir)
	if err := writeWhole(filepath.Join(dir, demoNote), []byte(demoNoteText)); err != nil {
		return err
	}
	for _, devices := range [][]scene.Device{shot.Clips, shot.Sounds} {
		for _, d := range devices {
			if err := os.Remove(filepath.Join(dir, filepath.FromSlash(d.Name))); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return refuse(err, "close what uses its files, or choose another folder with --to")
			}
		}
	}
	return nil
}

// compare holds every recording of the scene against what was found of it.
func (d *DemoResult) compare(shot *scene.Scene, written *scene.Written) {
	doc := &d.Result.Pair.Document
	known := map[string]bool{}
	for _, p := range written.Truth {
		if !p.Together() {
			continue
		}
		clip, sound := written.Clips[p.Clip], written.Sounds[p.Sound]
		known[clip], known[sound] = true, true
		d.Takes = append(d.Takes, compareTake(p, clip, sound, doc, shot.Notes[shot.Clips[p.Clip].Name]))
	}
	for i, path := range written.Clips {
		if !known[path] {
			d.Takes = append(d.Takes, compareLoner(path, "clip", doc, shot.Notes[shot.Clips[i].Name]))
		}
	}
	for i, path := range written.Sounds {
		if !known[path] {
			d.Takes = append(d.Takes, compareLoner(path, "sound", doc, shot.Notes[shot.Sounds[i].Name]))
		}
	}
}

func compareTake(p scene.Pair, clip, sound string, doc *shoot.Document, note string) DemoTake {
	t := DemoTake{Clip: clip, Sound: sound, Verdict: string(shoot.Single), Note: note,
		TrueOffset: p.Offset, TrueDrift: p.Drift * 1e6}
	for _, take := range doc.Takes {
		if !samePath(take.Clip, clip) || !samePath(take.Sound, sound) {
			continue
		}
		t.Verdict, t.FoundOffset, t.FoundDrift = string(take.Verdict), take.Offset, take.Drift
		truth := align.Alignment{Offset: p.Offset, Drift: p.Drift}
		found := align.Alignment{Offset: take.Offset, Drift: take.Drift * 1e-6}
		for _, at := range []float64{p.From, p.To} {
			t.WorstError = math.Max(t.WorstError, math.Abs(found.Sound(at)-truth.Sound(at))*1e3)
		}
		t.Right = take.Verdict == shoot.Sure && t.WorstError <= demoLimit
	}
	return t
}

func compareLoner(path, kind string, doc *shoot.Document, note string) DemoTake {
	t := DemoTake{Note: note, Verdict: "paired"}
	if kind == "clip" {
		t.Clip = path
	} else {
		t.Sound = path
	}
	for _, a := range doc.Alone {
		if a.Kind == kind && samePath(a.Path, path) {
			t.Verdict, t.Right = string(shoot.Single), true
		}
	}
	return t
}
