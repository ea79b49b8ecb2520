package desk

import (
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"earshot/internal/app"
	"earshot/internal/dsp"
	"earshot/internal/fault"
	"earshot/internal/frame"
	"earshot/internal/media"
	"earshot/internal/media/mediatest"
	"earshot/internal/scene"
	"earshot/internal/shoot"
	"earshot/internal/store"
)

// lesson is the demo's shoot as files of the fake engine, rendered once.
var lesson = sync.OnceValue(func() map[string]mediatest.File {
	s, err := scene.Demo()
	if err != nil {
		panic(err)
	}
	files := map[string]mediatest.File{}
	picture := media.Picture{Codec: "h264", Width: 480, Height: 270, Rate: frame.Rate{Num: 25, Den: 1}}
	for i := range s.Clips {
		files[s.Clips[i].Name] = mediatest.Clip(picture, dsp.ProxyRate, 1, time.Time{}, s.Render(&s.Clips[i], dsp.ProxyRate), []byte{byte(i)})
	}
	for i := range s.Sounds {
		files[s.Sounds[i].Name] = mediatest.Sound(dsp.ProxyRate, 1, time.Time{}, s.Render(&s.Sounds[i], dsp.ProxyRate))
	}
	return files
})

// A rig is a folder of recordings, a folder for the shoot and a cache.
type rig struct{ recordings, folder, cache string }

func newRig(t *testing.T) rig {
	t.Helper()
	r := rig{t.TempDir(), t.TempDir(), t.TempDir()}
	for name, f := range lesson() {
		path := filepath.Join(r.recordings, filepath.FromSlash(name))
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), mediatest.Write(path, f)); err != nil {
			t.Fatal(err)
		}
	}
	return r
}

func (r rig) open(t *testing.T, add ...string) *Desk {
	t.Helper()
	a := &app.App{Engine: &mediatest.Fake{}, Cache: store.Open(r.cache, store.DefaultLimit)}
	d, err := Open(a, Options{Folder: r.folder, Add: add, Version: "test"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.Close() })
	return d
}

// until waits for a state that a condition holds of, following the changes as a
// page does.
func until(t *testing.T, d *Desk, what string, holds func(State) bool) State {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 90*time.Second)
	defer cancel()
	for v := int64(-1); ; {
		s := d.State()
		if holds(s) {
			return s
		}
		p, err := d.Changes(ctx, max(v, s.Version))
		if err != nil {
			t.Fatalf("waiting for %s: %v; %+v", what, err, d.State().Work)
		}
		v = p.Version
	}
}

func measured(s State) bool {
	return !s.Work.Busy && len(s.Takes) == 4 && !slices.ContainsFunc(s.Takes, func(t Take) bool { return t.Verdict == "weighing" })
}

// take is the take of the clip of a name.
func take(t *testing.T, s State, name string) Take {
	t.Helper()
	for _, r := range s.Recordings {
		for _, k := range s.Takes {
			if r.Name == name && k.ID == r.ID {
				return k
			}
		}
	}
	t.Fatalf("no take of %s", name)
	return Take{}
}

func TestDeskFromEmptyToTakes(t *testing.T) {
	r := newRig(t)
	d := r.open(t)
	if s := d.State(); len(s.Recordings) != 0 || s.Shoot.Paths == nil || s.Shoot.Folder != r.folder {
		t.Fatalf("an empty desk shows %+v", s)
	}
	if err := d.Add(context.Background(), []string{r.recordings}, nil); err != nil {
		t.Fatal(err)
	}
	s := until(t, d, "the takes", measured)
	if len(s.Recordings) != 9 {
		t.Errorf("%d recordings, want 9", len(s.Recordings))
	}
	alone := 0
	for _, rec := range s.Recordings {
		if rec.State != "read" || rec.Kind == "" || rec.Length <= 0 {
			t.Errorf("%+v", rec)
		}
		if len(rec.Alone) > 0 {
			alone++
		}
	}
	if alone != 2 {
		t.Errorf("%d recordings are alone, want 2", alone)
	}
	for _, k := range s.Takes {
		if k.Verdict != "sure" || k.Status != "done" || len(k.Why) == 0 || k.To <= k.From {
			t.Errorf("%+v", k)
		}
	}
	if err := d.Add(context.Background(), nil, []string{r.recordings}); err != nil {
		t.Fatal(err)
	}
	until(t, d, "an empty desk", func(s State) bool { return len(s.Recordings) == 0 && len(s.Takes) == 0 && !s.Work.Busy })
}

// Whoever follows the patches from the first one on has the state.
func TestPatchesAddUp(t *testing.T) {
	r := newRig(t)
	d := r.open(t, r.recordings)
	recs, takes := map[string]Recording{}, map[string]Take{}
	follow := func(p Patch) {
		if p.All {
			clear(recs)
			clear(takes)
		}
		for _, id := range p.Gone {
			delete(recs, id)
			delete(takes, id)
		}
		for _, x := range p.Recordings {
			recs[x.ID] = x
		}
		for _, x := range p.Takes {
			takes[x.ID] = x
		}
	}
	ctx, cancel := context.WithTimeout(context.Background(), 90*time.Second)
	defer cancel()
	v := int64(0)
	for first := true; first || !measured(d.State()) || v != d.State().Version; first = false {
		p, err := d.Changes(ctx, v)
		if err != nil {
			t.Fatal(err)
		}
		if p.All != (v == 0) {
			t.Errorf("since version %d all is %v", v, p.All)
		}
		follow(p)
		v = p.Version
	}
	s := d.State()
	if len(recs) != len(s.Recordings) || len(takes) != len(s.Takes) {
		t.Fatalf("patches give %d recordings and %d takes, the state has %d and %d", len(recs), len(takes), len(s.Recordings), len(s.Takes))
	}
	for _, x := range s.Recordings {
		if !reflect.DeepEqual(recs[x.ID], x) {
			t.Errorf("patches give %+v, the state %+v", recs[x.ID], x)
		}
	}
	for _, x := range s.Takes {
		if !reflect.DeepEqual(takes[x.ID], x) {
			t.Errorf("patches give %+v, the state %+v", takes[x.ID], x)
		}
	}
}

func line(offset, drift float64) **shoot.Line {
	l := &shoot.Line{Offset: offset, Drift: drift}
	return &l
}

// What was said is there at the next start, before and after measuring, with all
// that can be undone.
func TestWordsOutliveTheDesk(t *testing.T) {
	ctx := context.Background()
	r := newRig(t)
	d := r.open(t, r.recordings)
	k := take(t, until(t, d, "the takes", measured), "C0007.MP4")
	yes, name := true, "the plane"
	got, err := d.Say(ctx, k.ID, Change{Line: line(k.Line.Offset-0.002, k.Line.Drift)})
	if err != nil || math.Abs(got.Moved-2) > 1e-6 {
		t.Fatalf("%+v, %v; want it 2 ms later", got, err)
	}
	if got, err = d.Say(ctx, k.ID, Change{Approved: &yes, Name: &name}); err != nil || !got.Word.Approved {
		t.Fatalf("%+v, %v", got, err)
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}

	again := r.open(t)
	for range 2 { // as kept, and as measured anew
		s := again.State()
		got := take(t, s, "C0007.MP4")
		if !got.Word.Approved || got.Word.Name != name || got.Word.Line == nil || math.Abs(got.Line.Offset-(k.Line.Offset-0.002)) > 1e-9 {
			t.Errorf("the next start shows %+v", got)
		}
		if s.Undo == nil || s.Undo.Label != "approved" {
			t.Errorf("undo would be %+v", s.Undo)
		}
		until(t, again, "the takes", measured)
	}
	for _, want := range []string{"approved", "laid 2.00 ms later"} {
		if step, err := again.Undo(ctx); err != nil || step == nil || step.Label != want || step.Clip != k.ID {
			t.Fatalf("undone %+v, %v; want %q", step, err, want)
		}
	}
	if got := take(t, again.State(), "C0007.MP4"); got.Moved != 0 || got.Word.Approved || got.Line != k.Line {
		t.Errorf("all undone, it shows %+v", got)
	}
	if step, err := again.Undo(ctx); step != nil || err != nil {
		t.Errorf("undone %+v, %v, want nothing", step, err)
	}
	if step, err := again.Redo(ctx); err != nil || step == nil || step.Label != "laid 2.00 ms later" {
		t.Errorf("done again %+v, %v", step, err)
	}
}

// Two desks on one shoot see what the other one says.
func TestTwoDesks(t *testing.T) {
	ctx := context.Background()
	r := newRig(t)
	one := r.open(t, r.recordings)
	until(t, one, "the takes", measured)
	two := r.open(t)
	until(t, two, "the takes", measured)
	id := take(t, one.State(), "C0008.MP4").ID
	note := "look at the hands"
	if _, err := one.Say(ctx, id, Change{Note: &note}); err != nil {
		t.Fatal(err)
	}
	until(t, two, "the note", func(s State) bool { return take(t, s, "C0008.MP4").Word.Note == note && s.Undo != nil })
	if step, err := two.Undo(ctx); err != nil || step == nil {
		t.Fatal(step, err)
	}
	until(t, one, "the note gone", func(s State) bool {
		return take(t, s, "C0008.MP4").Word.Note == "" && s.Undo == nil && s.Redo != nil
	})
}

// A card that was taken out is told of, what was said of its clips stays, and it
// all comes back with the card.
func TestCardTakenOut(t *testing.T) {
	ctx := context.Background()
	r := newRig(t)
	d := r.open(t, r.recordings)
	id := take(t, until(t, d, "the takes", measured), "C0007.MP4").ID
	note := "again"
	if _, err := d.Say(ctx, id, Change{Note: &note}); err != nil {
		t.Fatal(err)
	}
	away := r.recordings + "-away"
	if err := os.Rename(r.recordings, away); err != nil {
		t.Fatal(err)
	}
	d.measureAgain()
	s := until(t, d, "the card missed", func(s State) bool { return len(s.Recordings) == 0 && !s.Work.Busy })
	if told := strings.Join(s.Notes, "\n") + s.Work.Error; !strings.Contains(told, r.recordings) {
		t.Errorf("nothing is said of the card: %q", told)
	}
	if err := os.Rename(away, r.recordings); err != nil {
		t.Fatal(err)
	}
	d.measureAgain()
	if got := take(t, until(t, d, "the takes again", measured), "C0007.MP4"); got.Word.Note != note {
		t.Errorf("it came back as %+v", got.Word)
	}
}

// What is said of several clips at once is kept all or not at all, and undone in
// one.
func TestSayAll(t *testing.T) {
	ctx := context.Background()
	r := newRig(t)
	d := r.open(t, r.recordings)
	s := until(t, d, "the takes", measured)
	yes := true
	var all []Saying
	for _, k := range s.Takes {
		all = append(all, Saying{k.ID, Change{Approved: &yes}})
	}
	approved := func() (n int) {
		for _, k := range d.State().Takes {
			if k.Word.Approved {
				n++
			}
		}
		return n
	}
	if err := d.SayAll(ctx, append(all, Saying{"nobody", Change{Approved: &yes}})); !errors.Is(err, fs.ErrNotExist) || approved() != 0 {
		t.Errorf("one of them is no clip: %v, %d approved", err, approved())
	}
	if err := d.SayAll(ctx, all); err != nil || approved() != len(all) || d.State().Undo.More != len(all)-1 {
		t.Errorf("%v, %d approved of %d, to be undone: %+v", err, approved(), len(all), d.State().Undo)
	}
	if step, err := d.Undo(ctx); err != nil || step.More != len(all)-1 || approved() != 0 || d.State().Undo != nil {
		t.Errorf("undone %+v, %v: %d are still approved", step, err, approved())
	}
}

// A refused pair leaves both alone, with the reason; the clip is heard as before,
// and no sound with it.
func TestRefusedOnTheDesk(t *testing.T) {
	r := newRig(t)
	d := r.open(t, r.recordings)
	k := take(t, until(t, d, "the takes", measured), "C0008.MP4")
	good, scratch := heard(t, d, k.ID)
	if silent(good) || silent(scratch) {
		t.Fatal("one of the two is silent")
	}
	got, err := d.Say(context.Background(), k.ID, Change{Refused: &[]string{k.Sound}})
	if err != nil || got != nil {
		t.Fatalf("%+v, %v; want no take any more", got, err)
	}
	until(t, d, "both alone", func(s State) bool {
		n := 0
		for _, rec := range s.Recordings {
			if (rec.ID == k.ID || rec.ID == k.Sound) && len(rec.Alone) > 0 {
				n++
			}
		}
		return n == 2 && len(s.Takes) == 3 && !s.Work.Busy
	})
	if none, same := heard(t, d, k.ID); !silent(none) || !slices.Equal(same, scratch) || len(none) != len(good) {
		t.Errorf("alone, the clip is heard otherwise: %d and %d samples", len(none), len(same))
	}
	if err := d.Listen(context.Background(), k.ID, ListenAsk{From: -1}, nil); fault.KindOf(err) != fault.Usage {
		t.Errorf("from frame -1: %v", err)
	}
	if err := d.Listen(context.Background(), k.Sound, ListenAsk{}, nil); err == nil {
		t.Error("a sound is played as a clip")
	}
}

// heard is all that is played of a take, a side each.
func heard(t *testing.T, d *Desk, take string) (good, scratch []float32) {
	t.Helper()
	err := d.Listen(context.Background(), take, ListenAsk{}, func(block []float32) error {
		for i := 0; i < len(block); i += 2 {
			good, scratch = append(good, block[i]), append(scratch, block[i+1])
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return good, scratch
}

func silent(x []float32) bool {
	return !slices.ContainsFunc(x, func(v float32) bool { return v != 0 })
}

func TestSayRefusesNonsense(t *testing.T) {
	ctx := context.Background()
	r := newRig(t)
	d := r.open(t, r.recordings)
	s := until(t, d, "the takes", measured)
	k := take(t, s, "C0007.MP4")
	long, nul, nobody := strings.Repeat("x", 500), "a\x00b", "nobody"
	for name, c := range map[string]Change{
		"no number":       {Line: line(math.NaN(), 0)},
		"far away":        {Line: line(1e300, 0)},
		"endless drift":   {Line: line(0, math.Inf(1))},
		"long name":       {Name: &long},
		"name with a NUL": {Name: &nul},
		"unknown sound":   {Sound: &nobody},
		"refused unknown": {Refused: &[]string{nobody}},
		"a clip as sound": {Sound: &k.ID},
	} {
		if _, err := d.Say(ctx, k.ID, c); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
	for _, id := range []string{"", "nobody", k.Sound} {
		yes := true
		if _, err := d.Say(ctx, id, Change{Approved: &yes}); err == nil {
			t.Errorf("something was said of %q", id)
		}
	}
	if _, err := d.Detail(ctx, "nobody", ""); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a take that is not there: %v", err)
	}
	if s := d.State(); s.Undo != nil {
		t.Errorf("nonsense left %+v", s.Undo)
	}
}

// A finished clip can be found, and carries its proof.
func TestMarryOnTheDesk(t *testing.T) {
	ctx := context.Background()
	r := newRig(t)
	d := r.open(t, r.recordings)
	k := take(t, until(t, d, "the takes", measured), "C0007.MP4")
	if err := d.Marry(ctx, MarryAsk{Only: []string{k.ID}}); err != nil {
		t.Fatal(err)
	}
	if err := d.Marry(ctx, MarryAsk{}); err == nil {
		t.Error("two marriages at once were taken")
	}
	s := until(t, d, "the finished clip", func(s State) bool { return !s.Marriage.Busy })
	if len(s.Marriage.Clips) != 1 || s.Marriage.Clips[0].State != app.Written || s.Marriage.Clips[0].Proof == nil || s.Marriage.Clips[0].Proof.State != app.InSync {
		t.Fatalf("%+v", s.Marriage)
	}
	path, err := d.Married(k.ID)
	if err != nil || filepath.Dir(path) != filepath.Join(r.folder, "married") {
		t.Errorf("it lies at %q, %v", path, err)
	}
	detail, err := d.Detail(ctx, k.ID, "")
	if err != nil || detail.Married == nil || len(detail.Windows) == 0 || len(detail.Laid) != 1 {
		t.Errorf("%+v, %v", detail, err)
	}
	if _, err := json.Marshal(detail); err != nil {
		t.Error(err)
	}
}
