package app

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/match"
	"earshot/internal/scene"
	"earshot/internal/shoot"
)

// A second camera hears nothing but a bystander whom the body mic does not
// hear; the first camera hears both. The second's clip is placed through the
// first's, and since nothing else speaks for it, it stays unsure.
func TestPlacedThroughTheOtherCamera(t *testing.T) {
	a, _ := newSwiftApp(t)
	dir := t.TempDir()
	l := lesson()
	p := l.scene.Truth()[0]
	scratch, other := l.clips[p.Clip], l.sounds[len(l.sounds)-1]
	const from, length = 3 * dsp.ProxyRate, 12 * dsp.ProxyRate
	if len(scratch) < from+length || len(other) < len(scratch) {
		t.Fatal("the lesson is too short")
	}
	first, second := append([]float32(nil), scratch...), make([]float32, length)
	for i := range first {
		first[i] += 0.5 * other[i]
	}
	noise := hiss(4, length/dsp.ProxyRate)
	for i := range second {
		second[i] = other[from+i] + noise[i]/4
	}
	sound := filepath.Join(dir, "MIC", "r1.wav")
	clips := [2]string{filepath.Join(dir, "A", "C0001.MP4"), filepath.Join(dir, "B", "D0001.MP4")}
	writeFake(t, clips[0], clipOf(dsp.ProxyRate, 1, first))
	writeFake(t, clips[1], clipOf(dsp.ProxyRate, 1, second))
	writeFake(t, sound, soundFile(dsp.ProxyRate, 1, l.sounds[p.Sound]))
	res, err := a.Pair(context.Background(), PairOptions{Paths: []string{dir}})
	if err != nil {
		t.Fatal(err)
	}
	if len(res.Document.Takes) != 2 {
		t.Fatalf("%+v, want both clips in takes", res.Document)
	}
	take := res.Document.Takes[1]
	truth := align.Alignment{Offset: p.Offset, Drift: p.Drift}
	if e := take.Offset - truth.Sound(from/dsp.ProxyRate); take.Clip != clips[1] || math.Abs(e) > 0.001 {
		t.Errorf("%s is off by %g s", take.Clip, e)
	}
	if len(take.Through) != 1 || take.Through[0] != clips[0] || take.Verdict != shoot.Unsure {
		t.Errorf("%s, through %q: %q", take.Verdict, take.Through, take.Why)
	}
	if why := strings.Join(take.Why, "; "); !strings.Contains(why, "placed through \"C0001.MP4\"") {
		t.Errorf("why %q", why)
	}
	if first := res.Document.Takes[0]; first.Verdict != shoot.Sure || first.Through != nil {
		t.Errorf("the first camera's: %+v", first)
	}
	holdsSchema(t, res.Document)
}

// linked is a day of four clips and three recorders, all of them linked to
// each other as their starts say.
func linked() (*Day, *measurer, []match.Decision) {
	d, m := &Day{}, &measurer{}
	rec := func(name string) *recording {
		return &recording{path: name, device: name[:1], tracks: []track{{Samples: 30 * dsp.ProxyRate, Rows: 1}}}
	}
	for i := range 4 {
		d.clips = append(d.clips, rec(fmt.Sprintf("C%d", i)))
	}
	for k := range 3 {
		d.sounds = append(d.sounds, rec(string(rune('P'+k))+"1"))
		d.sounds[k].tracks[0].Samples = 600 * dsp.ProxyRate
	}
	m.clips, m.sounds = d.clips, d.sounds
	var all []match.Decision
	for i := range d.clips {
		m.links = append(m.links, nil)
		for k := range d.sounds {
			f := &align.Found{Alignment: align.Alignment{Offset: 100*float64(i) + 7*float64(k), Drift: 10e-6 * float64(k)},
				Strength: 50, Rest: 40, Mid: 15, MidSigma: 1e-5, DriftSigma: 1e-6, To: 30, Halves: math.NaN()}
			f.Offset += 10e-6 * float64(k) * 100 * float64(i)
			m.links[i] = append(m.links[i], &link{Found: f})
			all = append(all, match.Decision{Link: match.Link{Clip: i, Sound: k, Strength: 50, Rest: 40, Lead: 2, Beyond: 30, Halves: math.NaN(), To: 30}, Verdict: match.Sure})
		}
	}
	return d, m, all
}

// A pair that says otherwise than all others is called out and made unsure. The
// clip's others stay sure where the order of names speaks for them alone; where
// it speaks for both or none, the clip matches two moments, and either may be
// the played back one. A tenth of a second is no other moment. It is so too where
// a rule had made the pair unsure before; what is unsure by itself says nothing
// against the others.
func TestAPairThatBreaksItsLoopIsCalledOut(t *testing.T) {
	for _, tt := range []struct {
		by     float64
		before match.Verdict
		lead   float64
		others match.Verdict // of the same clip
	}{{0, match.Sure, 2, match.Sure}, {0.1, match.Sure, 2, match.Sure}, {3, match.Sure, 2, match.Unsure}, {-150, match.Sure, 2, match.Sure},
		{3, match.Unsure, 2, match.Unsure}, {-150, match.Unsure, 2, match.Sure}, {3, match.Unsure, 0.1, match.Sure}} { // clips stand 100 s apart
		d, m, all := linked()
		for n := range all {
			if all[n].Link.Clip == 2 && all[n].Link.Sound == 1 {
				all[n].Verdict, all[n].Link.Lead = tt.before, tt.lead
			}
		}
		m.links[2][1].Found.Offset += tt.by
		for n := range all {
			f := m.links[all[n].Link.Clip][all[n].Link.Sound].Found
			all[n].Link.Start = f.Sound(0)
		}
		w := &web{day: d, m: m, decisions: all}
		if tt.before == match.Sure {
			var err error
			if w, err = d.weave(context.Background(), m, all); err != nil {
				t.Fatal(err)
			}
		} else { // what is unsure would be listened to anew
			w.solve()
			w.callOut()
		}
		for _, dec := range w.decisions {
			wrong := math.Abs(tt.by) > 1 && dec.Link.Clip == 2 && dec.Link.Sound == 1
			want, why := match.Sure, strings.Join(dec.Why, "; ")
			switch {
			case wrong:
				want = match.Unsure
			case dec.Link.Clip == 2:
				want = tt.others
			}
			if dec.Verdict != want || strings.Contains(why, "breaks a loop") != wrong {
				t.Errorf("moved by %g s: clip %d in sound %d is %v: %q", tt.by, dec.Link.Clip, dec.Link.Sound, dec.Verdict, why)
			}
			if tt.by != 0 && dec.Link.Clip == 2 && dec.Link.Sound == 1 && !strings.Contains(why, apart(-tt.by)) {
				t.Errorf("moved by %g s: %q", tt.by, why)
			}
		}
	}
}

// Microphones keep their polarity: a faint match of the other one is no
// confirmation, a strong one is.
func TestAFaintMatchOfTheOtherPolarity(t *testing.T) {
	d, m, all := linked()
	for i := range all {
		if all[i].Link.Clip == 2 && all[i].Link.Sound == 1 {
			all[i].Verdict = match.Unsure
		}
	}
	w := &web{day: d, m: m, decisions: all}
	for _, tt := range []struct {
		strength       float64
		inverted, kept bool // kept: this device's other sure takes have this polarity, too
		want           bool
	}{{9, false, false, false}, {9, true, false, true}, {9, true, true, false}, {15, true, false, false}} {
		m.links[1][1].Found.Inverted = tt.kept
		if got := w.turned(2, 1, &align.Found{Strength: tt.strength, Inverted: tt.inverted}); got != tt.want {
			t.Errorf("%+v: turned %v", tt, got)
		}
	}
	for i := range d.clips {
		m.links[i][1].Found.Inverted = true
	}
	if w.turned(2, 1, &align.Found{Strength: 9, Inverted: true}) || !w.turned(2, 1, &align.Found{Strength: 9}) {
		t.Error("a device that is inverted in all takes is taken for one that is in none")
	}
	for n := range all {
		all[n].Verdict = match.Unsure
	}
	if w.turned(2, 1, &align.Found{Strength: 9}) {
		t.Error("polarity is known of devices without a sure take")
	}
}

// The clocks of a day know a drift that no take of the same two devices told.
func TestDriftOfTheWholeDay(t *testing.T) {
	d, m, all := linked()
	for i := range d.clips {
		m.links[i][2] = nil
	}
	m.links[0][2] = &link{Found: &align.Found{Alignment: align.Alignment{Offset: 14, Drift: 3e-6}, Strength: 50, Rest: 40, Mid: 5, MidSigma: 1e-5, DriftSigma: math.Inf(1), To: 10, Halves: math.NaN()}}
	var rest []match.Decision
	for _, dec := range all {
		if dec.Link.Sound != 2 || dec.Link.Clip == 0 {
			rest = append(rest, dec)
		}
	}
	// The other camera and the third recorder know each other well.
	d.clips[3].device = "other"
	m.links[3][2] = &link{Found: &align.Found{Alignment: align.Alignment{Offset: 314 + 20e-6*300, Drift: 20e-6}, Strength: 50, Rest: 40, Mid: 15, MidSigma: 1e-5, DriftSigma: 1e-6, To: 30, Halves: math.NaN()}}
	rest = append(rest, match.Decision{Link: match.Link{Clip: 3, Sound: 2, Strength: 50, To: 30}, Verdict: match.Sure})
	w := &web{day: d, m: m, decisions: rest}
	w.solve()
	b := newDriftBook(rest, m)
	b.web = w
	f, from, why := b.settle(0, 2, m.links[0][2].Found)
	if e := f.Drift - 20e-6; from != shoot.FromShoot || math.Abs(e) > 3e-6 || len(why) != 1 {
		t.Errorf("drift %g from %s: %q", f.Drift, from, why)
	}
}

// A clip of two talkers is married to the body mic of the one whom it shows.
func TestMarriedToTheNearestTalker(t *testing.T) {
	phrases, err := scene.Phrases()
	if err != nil {
		t.Skip("no recorded speech")
	}
	a, _ := newSwiftApp(t)
	dir, to := t.TempDir(), t.TempDir()
	s, shown := scene.Dialogue{Seed: 5, Length: 25, Share: 0.4, Apart: 2.5, Near: 1.5, SNR: 15}.Scene(phrases)
	writeFake(t, filepath.Join(dir, "C0001.MP4"), clipOf(dsp.ProxyRate, 1, s.Render(&s.Clips[0], dsp.ProxyRate)))
	for k := range s.Sounds {
		writeFake(t, filepath.Join(dir, fmt.Sprintf("%c.wav", 'x'+k)), soundFile(dsp.ProxyRate, 1, s.Render(&s.Sounds[k], dsp.ProxyRate)))
	}
	r := marryAll(t, a, MarryOptions{Paths: []string{dir}, To: to})
	if len(r.Clips) != 1 || r.Clips[0].State != Written || filepath.Base(r.Clips[0].Sound) != fmt.Sprintf("%c.wav", 'x'+shown) {
		t.Fatalf("%+v, want the sound of talker %d", r.Clips, shown)
	}
	if why := strings.Join(r.Clips[0].Take.Why, "; "); !strings.Contains(why, "voice") {
		t.Errorf("no reason given: %q", why)
	}
}
