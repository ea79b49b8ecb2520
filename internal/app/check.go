package app

import (
	"context"
	"fmt"
	"math"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/fault"
	"earshot/internal/media"
	"earshot/internal/store"
)

// check opens a written clip again and measures it: its good sound from end to
// end against what the camera heard, and the scratch that went with it at the
// place where there is most to hear.
func (m *marriage) check(ctx context.Context, w *wedding, path string) error {
	m.tell.step("proving", w.out.Clip, 0, 0)
	clip, track := w.take.clip, w.take.link.ClipTrack
	file, err := m.reopen(ctx, path, len(clip.tracks) > 0)
	if err != nil {
		return err
	}
	if m.opt.Scratch == "keep" && len(clip.tracks) > 0 {
		if err := m.checkScratch(ctx, file, clip, track); err != nil {
			return err
		}
	}
	if len(clip.tracks) == 0 {
		w.out.Proof = &Proof{File: w.out.Out, Scratch: clip.path, State: NoTelling, Windows: []SeamPoint{}, Limits: []LimitCheck{},
			Why: []string{"the camera recorded no sound to measure against"}}
		return nil
	}
	p, err := m.app.prove(ctx, side{file, 0}, side{clip, track})
	if err != nil {
		return err
	}
	p.File, p.Scratch = w.out.Out, clip.path
	w.out.Proof = p
	if p.State == OutOfSync && w.choice.Word.Line == nil { // a person may lay it where they like
		return misplaced(w.out.Out, "the good sound came out "+earlyOrLate(p.Late)+" on the scratch")
	}
	return nil
}

func misplaced(path, what string) error {
	return &fault.Error{Kind: fault.Internal, Op: "prove the finished clip", Subject: path,
		Err: fmt.Errorf("%s; it was not kept", what), Hint: "please report this, with what earshot doctor says"}
}

// reopen reads a written clip's good sound.
func (m *marriage) reopen(ctx context.Context, path string, hasScratch bool) (*recording, error) {
	id, err := store.Identify(path)
	if err != nil {
		return nil, err
	}
	file := &recording{path: path, id: id}
	if file.info, err = m.app.Engine.Probe(ctx, path); err != nil {
		return nil, err
	}
	want := 1
	if m.opt.Scratch == "keep" && hasScratch {
		want = 2
	}
	if len(file.info.Sounds) < want || !file.clip() {
		return nil, misplaced(path, fmt.Sprintf("it came out with %s", count(len(file.info.Sounds), "sound track")))
	}
	r := &reader{app: m.app, tell: newTeller(nil)}
	t, err := r.decode(ctx, file, 0)
	file.tracks = []track{t}
	return file, err
}

// What is looked at of the scratch in a written clip.
const (
	scratchSpan = 16.0  // seconds
	scratchOff  = 0.001 // seconds off its place that are too many
)

// checkScratch holds the scratch of a written clip against the camera's own
// sound. Where too little is to be heard it passes: its packets were copied.
func (m *marriage) checkScratch(ctx context.Context, file, clip *recording, track int) error {
	own, err := m.app.openProxy(ctx, clip, track)
	if err != nil {
		return err
	}
	defer own.Close()
	first := int(math.Round(clip.tracks[track].Talk.Busiest * dsp.ProxyRate))
	var written align.Samples
	req := media.Decode{Path: file.path, Info: &file.info, Stream: 1 + track, Rate: dsp.ProxyRate, Mono: true,
		From: float64(first) / dsp.ProxyRate, To: float64(first)/dsp.ProxyRate + scratchSpan}
	err = m.app.Engine.Decode(ctx, req, func(block []float32) error {
		written = append(written, block...)
		return nil
	})
	if err != nil {
		return err
	}
	camera := make(align.Samples, len(written))
	if err := own.ReadAt(camera, first); err != nil {
		return err
	}
	mid := float64(len(written)) / dsp.ProxyRate / 2
	f, err := align.Find(camera, written, align.Guess{At: mid, Sound: mid})
	if err != nil || f == nil || f.Strength < proveFrom {
		return err
	}
	if late := f.Sound(f.Mid) - f.Mid; math.Abs(late) > scratchOff {
		return misplaced(file.path, "the scratch came out "+earlyOrLate(late*1e3)+" on the camera's own sound")
	}
	return nil
}
