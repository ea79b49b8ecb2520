package desk

import (
	"math"
	"slices"
	"time"

	"earshot/internal/app"
	"earshot/internal/shoot"
)

// recordingOf is what is shown of a recording that was read.
func recordingOf(id string, r *app.Recording) Recording {
	out := Recording{ID: id, Path: r.Path(), Name: r.Name(), Kind: r.Kind(), State: "read", Done: 1, Length: r.Length(), Device: r.Device(), Tracks: []Track{}}
	if made := r.Made(); !made.IsZero() {
		out.Made = made.UTC().Format(time.RFC3339)
	}
	for _, t := range r.Tracks() {
		out.Tracks = append(out.Tracks, Track{Rate: t.Rate, Channels: t.Channels, Silent: t.Silent})
	}
	if p, ok := r.Picture(); ok {
		out.Picture = &Picture{Width: p.Width, Height: p.Height, FPS: finite(p.FPS), Rate: p.Rate, Start: p.Start, Codec: p.Codec, Timecode: p.Timecode, Type: p.Type}
	}
	return out
}

// finite is v, or 0 where v is no number: JSON has none for it.
func finite(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	return v
}

// showDay shows a measured day: its takes, who is alone, where all lies in the
// day. Where it is not the last word, since more is being measured, takes that
// are being weighed stay.
func (d *Desk) showDay(last bool) {
	d.showing.Lock()
	defer d.showing.Unlock()
	day, words := d.lookedAt(), d.said()
	choices := day.Choices(words)
	takes := make([]Take, len(choices))
	kept := map[string]bool{}
	for i, c := range choices {
		takes[i] = d.takeOf(day, c)
		kept[takes[i].ID] = true
	}
	recs := map[string]Recording{}
	for _, r := range day.Recordings() {
		rec := recordingOf(day.Key(r), r)
		recs[rec.ID] = rec
	}
	alone := d.alone(day, choices)
	times := timesOfDay(recs, takes)
	notes := append([]string{}, day.Result().Notes...)
	for _, f := range day.Result().Document.Failed {
		if _, listed := d.idOf(f.Path); !listed { // a folder that is gone, say
			notes = append(notes, f.Error)
		}
	}
	b := d.board
	b.change(func(v int64) {
		for id, rec := range recs {
			rec.Alone, rec.Day, rec.Refused = alone[id], times[id], words[id].Refused
			b.recs.put(id, rec, v)
		}
		for _, id := range slices.Clone(b.takes.order) {
			if weighing := b.takes.parts[id].is.Verdict == "weighing"; !kept[id] && (last || !weighing) {
				b.takes.remove(id, v)
			}
		}
		order := make([]string, len(takes))
		for i, t := range takes {
			order[i] = t.ID
			b.takes.put(t.ID, t, v)
		}
		b.takes.arrange(order) // they were found in any
		b.notes = part[[]string]{notes, v}
	})
}

// idOf is the id of the recording at a path.
func (d *Desk) idOf(path string) (string, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	id, ok := d.ids[path]
	return id, ok
}

// alone says, by id, why recordings are alone, of those that no choice needs.
func (d *Desk) alone(day *app.Day, choices []*app.Choice) map[string][]string {
	used := map[string]bool{}
	for _, c := range choices {
		used[day.Key(c.Clip())], used[day.Key(c.Sound())] = true, true
		for _, o := range c.Others() {
			used[day.Key(o)] = true
		}
	}
	why := map[string][]string{}
	for _, a := range day.Result().Document.Alone {
		why[a.Path] = a.Why
	}
	out := map[string][]string{}
	for _, r := range day.Recordings() {
		if id := day.Key(r); !used[id] {
			out[id] = why[r.Path()]
			if out[id] == nil {
				out[id] = []string{"you said that what it was found with does not belong to it"}
			}
		}
	}
	return out
}

// showTakes shows some clips' takes anew, and who is alone now.
func (d *Desk) showTakes(ids []string) {
	if d.lookedAt() != nil {
		if len(ids) > 0 {
			d.showDay(false)
		}
		return
	}
	d.showing.Lock()
	defer d.showing.Unlock()
	words := d.said()
	b := d.board
	b.change(func(v int64) { // only the words are new
		for _, id := range ids {
			if t, ok := b.takes.parts[id]; ok {
				b.takes.put(id, t.is.said(words[id]), v)
			}
		}
	})
}

// said is a take under another word, before the shoot is measured.
func (t Take) said(w shoot.Word) Take {
	t.Word, t.Line = wholeWord(w), t.Measured
	if w.Line != nil {
		t.Line = *w.Line
	}
	t.Moved = (t.Measured.Offset - t.Line.Offset) * 1e3
	t.Status = "look"
	if w.Approved || t.Verdict == string(shoot.Sure) {
		t.Status = "done"
	}
	return t
}

// takeOf is what is shown of a choice.
func (d *Desk) takeOf(day *app.Day, c *app.Choice) Take {
	doc := c.Take()
	from, to := c.Covers()
	t := Take{ID: day.Key(c.Clip()), Sound: day.Key(c.Sound()), Others: []string{}, Verdict: string(doc.Verdict), Status: "look",
		Why: append([]string{}, doc.Why...), Chance: finite(doc.Chance), Line: c.Line(), Measured: c.MeasuredLine(), Moved: finite(c.Moved() * 1e3),
		Seam: finite(doc.Seam.P95), From: finite(from), To: finite(to), Word: wholeWord(c.Word)}
	if c.Hand() {
		t.Verdict = "hand"
	}
	if c.Settled() {
		t.Status = "done"
	}
	for _, o := range c.Others() {
		t.Others = append(t.Others, day.Key(o))
	}
	return t
}

// wholeWord has a list that is empty rather than absent.
func wholeWord(w shoot.Word) shoot.Word {
	if w.Refused == nil {
		w.Refused = []string{}
	}
	return w
}
