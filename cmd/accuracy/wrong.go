package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"time"

	"earshot/internal/align"
	"earshot/internal/app"
	"earshot/internal/dsp"
	"earshot/internal/frame"
	"earshot/internal/media"
	"earshot/internal/media/mediatest"
	"earshot/internal/scene"
	"earshot/internal/shoot"
	"earshot/internal/store"
)

// heapOf is a heap of the rig: short and middle lengths, so that meetings are
// cheap.
func (r *rig) heapOf(kind scene.Likeness, seed uint64) scene.Heap {
	return scene.Heap{Seed: seed, Kind: kind, Moments: heapMoments, Clip: [2]float64{5, 40}, Sound: [2]float64{25, 100},
		Phrases: r.phrases, Responses: r.heard}
}

// elsewhere is how far off a right pair must be laid to count as laid at another
// moment, in milliseconds: what the loudspeaker plays reaches the two devices up
// to some 15 ms otherwise than the wearer's voice, and a pair may be laid on it.
const elsewhere = 30.0

// heapMoments is how many moments there are in a heap.
const heapMoments = 24

// boxes are simulated rooms to choose from beside the measured ones.
func boxes() (out []*scene.Response) {
	for i := range 6 {
		f := float64(i)
		box := scene.Shoebox{Size: [3]float64{3.5 + 0.8*f, 3.2 + 0.5*f, 2.5 + 0.15*f}, RT60: 0.25 + 0.08*f, Seed: uint64(i + 1)}
		for k := range box.Size {
			box.Talker[k], box.Mic[k] = (0.2+0.04*f)*box.Size[k], (0.75-0.03*f)*box.Size[k]
		}
		out = append(out, box.Response(48000))
	}
	return out
}

// A meeting is one clip held against one sound, with the truth.
type meeting struct {
	app.Meeting
	kind    scene.Likeness
	seed    uint64
	right   bool    // they heard the same moment
	placed  bool    // and it was found where it is, as far as it was found
	covered float64 // seconds in common
	take    *shoot.Take
}

// heap makes one heap, pairs it and holds every meeting against the truth.
func (r *rig) heap(ctx context.Context, h scene.Heap) ([]meeting, error) {
	dir, err := os.MkdirTemp("", "accuracy-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	s := h.Scene()
	if err := writeHeap(dir, s); err != nil {
		return nil, err
	}
	a := &app.App{Engine: &mediatest.Fake{}, Cache: store.Open(filepath.Join(dir, "cache"), store.DefaultLimit)}
	res, err := a.Pair(ctx, app.PairOptions{Paths: []string{filepath.Join(dir, "CARD"), filepath.Join(dir, "MIC")}})
	if err != nil {
		return nil, err
	}
	return heapMeetings(dir, h, s, res), nil
}

// writeHeap renders a heap's recordings into the folder dir.
func writeHeap(dir string, s *scene.Scene) error {
	picture := media.Picture{Codec: "h264", Width: 480, Height: 270, Rate: frame.Rate{Num: 25, Den: 1}}
	put := func(d *scene.Device, f mediatest.File) error {
		path := filepath.Join(dir, d.Name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return err
		}
		return mediatest.Write(path, f)
	}
	for i := range s.Clips {
		d := &s.Clips[i]
		if err := put(d, mediatest.Clip(picture, dsp.ProxyRate, 1, time.Time{}, s.Render(d, dsp.ProxyRate), []byte(d.Name))); err != nil {
			return err
		}
	}
	for i := range s.Sounds {
		d := &s.Sounds[i]
		if err := put(d, mediatest.Sound(dsp.ProxyRate, 1, time.Time{}, s.Render(d, dsp.ProxyRate))); err != nil {
			return err
		}
	}
	return nil
}

// heapMeetings lists every clip with every sound, and what was found of them.
func heapMeetings(dir string, h scene.Heap, s *scene.Scene, res *app.PairResult) []meeting {
	measured := map[[2]string]app.Meeting{}
	for _, m := range res.Meetings {
		measured[[2]string{m.Clip, m.Sound}] = m
	}
	takes := map[[2]string]*shoot.Take{}
	for i := range res.Document.Takes {
		t := &res.Document.Takes[i]
		takes[[2]string{t.Clip, t.Sound}] = t
	}
	var out []meeting
	for _, p := range s.Truth() {
		key := [2]string{filepath.Join(dir, s.Clips[p.Clip].Name), filepath.Join(dir, s.Sounds[p.Sound].Name)}
		m := meeting{Meeting: measured[key], kind: h.Kind, seed: h.Seed, right: p.Together(), covered: p.To - p.From, take: takes[key]}
		m.Clip, m.Sound = s.Clips[p.Clip].Name, s.Sounds[p.Sound].Name
		if m.right && m.take != nil {
			truth := align.Alignment{Offset: p.Offset, Drift: p.Drift}
			found := align.Alignment{Offset: m.take.Offset, Drift: m.take.Drift * 1e-6}
			off := func(t float64) float64 { return math.Abs(found.Sound(t)-truth.Sound(t)) * 1e3 }
			m.placed = math.Max(off(p.From), off(p.To)) <= elsewhere
		}
		out = append(out, m)
	}
	return out
}

// wrongPairs makes heaps of every kind, n of each, and returns all meetings.
func (r *rig) wrongPairs(ctx context.Context, seed uint64, n int, kinds []scene.Likeness, done func(kind scene.Likeness, heap int)) ([]meeting, error) {
	type job struct {
		kind scene.Likeness
		at   int
	}
	jobs := make(chan job)
	var (
		group  sync.WaitGroup
		mu     sync.Mutex
		all    []meeting
		failed []error
	)
	for range runtime.NumCPU() {
		group.Go(func() {
			for j := range jobs {
				list, err := r.heap(ctx, r.heapOf(j.kind, seed+uint64(j.at)))
				mu.Lock()
				if err != nil {
					failed = append(failed, fmt.Errorf("heap %d of %s: %w", j.at, j.kind, err))
				}
				all = append(all, list...)
				done(j.kind, j.at)
				mu.Unlock()
			}
		})
	}
	for i := range n {
		for _, k := range kinds {
			if ctx.Err() == nil {
				jobs <- job{k, i}
			}
		}
	}
	close(jobs)
	group.Wait()
	return all, errors.Join(append(failed, ctx.Err())...)
}
