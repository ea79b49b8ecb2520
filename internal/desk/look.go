package desk

import (
	"context"
	"math"

	"earshot/internal/app"
	"earshot/internal/shoot"
)

// choice is what becomes of a clip, with another sound or line if they are
// given.
func (d *Desk) choice(take, sound string, line *shoot.Line) (*app.Day, *app.Choice, error) {
	day, err := d.measured("look at the take")
	if err != nil {
		return nil, nil, err
	}
	clip := day.Recording(take)
	if clip == nil || clip.Kind() != "clip" {
		return nil, nil, unknown("clip", take)
	}
	w := d.said()[take]
	if sound != "" {
		if day.Recording(sound) == nil {
			return nil, nil, unknown("sound", sound)
		}
		if w.Sound != sound {
			w.Sound, w.Line = sound, nil
		}
	}
	if line != nil {
		w.Line = line
	}
	if c := day.Choice(clip, w); c != nil && (sound == "" || day.Key(c.Sound()) == sound) {
		return day, c, nil
	}
	if sound == "" {
		return day, nil, unknown("take", take)
	}
	w.Line = &shoot.Line{} // nothing is known of the two: both from their beginnings
	c := day.Choice(clip, w)
	if c == nil {
		return day, nil, unknown("take", take)
	}
	return day, c, nil
}

// Detail is what is shown of one take when it is looked at closely; with a
// sound given, as it would be with that.
//
// Where a person laid two recordings that nobody had measured there, that is
// measured now: what is laid stays, and there is something to see of it.
func (d *Desk) Detail(ctx context.Context, take, sound string) (*Detail, error) {
	day, c, err := d.choice(take, sound, nil)
	if err != nil {
		return nil, err
	}
	if c.Hand() && c.Word.Line != nil && len(c.Evidence().Windows) == 0 {
		from, to := c.Covers()
		mid := (from + to) / 2
		if _, _, err := day.Near(ctx, c.Clip(), c.Sound(), mid, c.Heard(mid)); err != nil {
			return nil, err
		}
		if _, c, err = d.choice(take, sound, nil); err != nil {
			return nil, err
		}
	}
	return d.detail(day, c), nil
}

func (d *Desk) detail(day *app.Day, c *app.Choice) *Detail {
	laid, e, doc := c.Laid(), c.Evidence(), c.Take()
	out := &Detail{Take: d.takeOf(day, c), ClipTrack: laid.ClipTrack, SoundTrack: laid.SoundTrack,
		Measured: spansOf(c.Measured()), Laid: spansOf(laid.Spans), Windows: []Window{}, Claps: []Clap{}, Candidates: []Candidate{},
		Inverted: e.Inverted, Through: []string{}}
	for _, w := range e.Windows {
		out.Windows = append(out.Windows, Window{At: w.At, Sound: w.Sound, Error: finite(w.Error * 1e3), Heard: w.Clear})
	}
	for _, p := range c.Claps() {
		out.Claps = append(out.Claps, Clap{Clip: p.Clip, Sound: p.Sound})
	}
	if !math.IsInf(e.Sigma, 0) {
		out.Sigma = e.Sigma * 1e3
	}
	if ppm := e.DriftSigma * 1e6; !math.IsInf(ppm, 0) && !math.IsNaN(ppm) {
		out.DriftSigma = &ppm
	}
	d.mu.Lock()
	ids := d.ids
	d.mu.Unlock()
	for _, other := range doc.Candidates {
		if other.Clip == doc.Clip {
			out.Candidates = append(out.Candidates, Candidate{Sound: ids[other.Sound], Line: shoot.Line{Offset: other.Offset, Drift: doc.Drift},
				Strength: finite(other.Strength), For: append([]string{}, other.For...), Against: append([]string{}, other.Against...)})
		}
	}
	for _, p := range doc.Through {
		out.Through = append(out.Through, ids[p])
	}
	out.Married = d.board.shownMarriage().of(out.Take.ID)
	return out
}

func spansOf(spans []shoot.Span) []Span {
	out := make([]Span, len(spans))
	for i, s := range spans {
		out[i] = Span{From: s.Clip[0], To: s.Clip[1], Offset: s.Offset, Drift: s.Drift}
	}
	return out
}

// Measure measures a clip in a sound where a person points. Nothing is changed.
func (d *Desk) Measure(ctx context.Context, take string, near Near) (*Nearby, error) {
	day, err := d.measured("measure near there")
	if err != nil {
		return nil, err
	}
	clip, sound := day.Recording(take), day.Recording(near.Sound)
	switch {
	case clip == nil || clip.Kind() != "clip":
		return nil, unknown("clip", take)
	case sound == nil || sound.Kind() != "sound":
		return nil, unknown("sound", near.Sound)
	}
	c, why, err := day.Near(ctx, clip, sound, near.At, near.Heard)
	if err != nil {
		return nil, err
	}
	if c == nil {
		return &Nearby{Why: why}, nil
	}
	return &Nearby{Found: d.detail(day, c), Why: why}, nil
}

// recording finds a recording by its id, before the day is measured too.
func (d *Desk) recording(ctx context.Context, id string) (*app.Recording, error) {
	path, err := d.File(id)
	if err != nil {
		return nil, err
	}
	if day := d.lookedAt(); day != nil {
		if r := day.Recording(id); r != nil {
			return r, nil
		}
	}
	return d.app.Look(ctx, path)
}

// File is where the original of a recording lies.
func (d *Desk) File(id string) (string, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	path, ok := d.paths[id]
	if !ok {
		return "", unknown("recording", id)
	}
	return path, nil
}

// Peaks are bins of a track's wave.
func (d *Desk) Peaks(ctx context.Context, id string, ask PeaksAsk) (Peaks, error) {
	r, err := d.recording(ctx, id)
	if err != nil {
		return Peaks{}, err
	}
	bins, of, err := d.app.Peaks(ctx, r, ask.Track, ask.Level, ask.From, ask.N)
	return Peaks{Bins: bins, Of: of}, err
}

// Samples are a track's samples, mono, from frame from on, and their rate.
func (d *Desk) Samples(ctx context.Context, id string, track int, from int64, n int) ([]float32, int, error) {
	r, err := d.recording(ctx, id)
	if err != nil {
		return nil, 0, err
	}
	return d.app.Samples(ctx, r, track, from, n)
}

// Mirror is a take's picture for the wall.
func (d *Desk) Mirror(ctx context.Context, take string, n int) ([]byte, error) {
	laid, err := d.laid(ctx, take)
	if err != nil {
		return nil, err
	}
	return d.app.Mirror(ctx, laid, n)
}

// laid is a take as it lies: as chosen, or before the day is measured as it is
// shown.
func (d *Desk) laid(ctx context.Context, take string) (app.Laid, error) {
	if d.lookedAt() != nil {
		_, c, err := d.choice(take, "", nil)
		if err != nil {
			return app.Laid{}, err
		}
		return c.Laid(), nil
	}
	t, ok := d.board.take(take)
	if !ok {
		return app.Laid{}, unknown("take", take)
	}
	clip, err := d.recording(ctx, take)
	if err != nil {
		return app.Laid{}, err
	}
	sound, err := d.recording(ctx, t.Sound)
	if err != nil {
		return app.Laid{}, err
	}
	span := shoot.Span{Clip: [2]float64{0, clip.Length()}, Offset: t.Line.Offset, Drift: t.Line.Drift}
	return app.Laid{Clip: clip, Sound: sound, Spans: []shoot.Span{span}}, nil
}

// Listen plays both microphones of a take on the clip's clock; of a clip that is
// alone its own.
func (d *Desk) Listen(ctx context.Context, take string, ask ListenAsk, fn func([]float32) error) error {
	day, c, err := d.choice(take, ask.Sound, ask.Line)
	if err != nil {
		if clip := lone(day, take); clip != nil && ask.Sound == "" {
			return d.app.ListenAlone(ctx, clip, 0, ask.From, ask.To, fn)
		}
		return err
	}
	return d.app.Listen(ctx, c.Laid(), ask.From, ask.To, fn)
}

// lone is a clip with sound of its own; nil: there is none such.
func lone(day *app.Day, clip string) *app.Recording {
	if day == nil {
		return nil
	}
	r := day.Recording(clip)
	if r == nil || r.Kind() != "clip" || len(r.Tracks()) == 0 {
		return nil
	}
	return r
}

// Loudness is that of both microphones of a take. Where it is told of a part of
// a long take, all of it is listened to from then on, until another one is asked
// for; asking again tells when that is done.
func (d *Desk) Loudness(ctx context.Context, take, sound string) (*Loudness, error) {
	_, c, err := d.choice(take, sound, nil)
	if err != nil {
		return nil, err
	}
	laid := c.Laid()
	body, scratch, whole, err := d.app.Loudness(ctx, laid)
	if err != nil {
		return nil, err
	}
	d.listenOn(take+" "+sound, laid, whole)
	known := func(v float64) *float64 {
		if math.IsInf(v, 0) || math.IsNaN(v) {
			return nil
		}
		return &v
	}
	return &Loudness{Body: known(body), Scratch: known(scratch), Whole: whole}, nil
}

// listenOn listens to all of a take in the background, if that is not done yet,
// and to no other any more.
func (d *Desk) listenOn(name string, laid app.Laid, done bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.listening.name == name {
		return
	}
	if d.listening.stop != nil {
		d.listening.stop()
	}
	d.listening.name, d.listening.stop = name, nil
	if done || d.alive.Err() != nil {
		return
	}
	ctx, stop := context.WithCancel(d.alive)
	d.listening.stop = stop
	d.jobs.Go(func() {
		_, _, _ = d.app.LoudnessOfAll(ctx, laid) // kept when it works; else asked for again
		d.mu.Lock()
		defer d.mu.Unlock()
		if stop(); d.listening.name == name {
			d.listening.name = ""
		}
	})
}
