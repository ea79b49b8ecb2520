package app

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"runtime"
	"slices"
	"sync"

	"earshot/internal/dsp"
	"earshot/internal/fault"
	"earshot/internal/media"
	"earshot/internal/shoot"
	"earshot/internal/store"
)

// MarryOptions asks for finished clips.
type MarryOptions struct {
	Paths    []string
	Only     []string // the clips to marry, by path; none = all
	Shoot    string   // folder of a shoot whose words are heeded; "" = none
	To       string   // folder to write into; made when missing; "" = "married"
	Sound    string   // "pcm" (default): MOV with 24-bit PCM; "aac": MP4 with AAC
	Scratch  string   // "keep" (default) or "drop"
	Gaps     string   // "scratch" (default) or "silence": what fills parts the sound does not cover
	Distance *float64 // metres from camera to talker; nil lays the sound on what the camera heard
	Celsius  *float64 // air temperature for Distance; nil = 20
	Name     string   // pattern; "" = "{clip}_married"
	Again    bool     // replace what stands there
	Unsure   bool     // marry unsure takes too
	Digest   bool     // full SHA-256 of every input in the report
	Fresh    bool
	Version  string // of the program, for the report
	Progress func(Progress)
}

// MarryResult says what was written.
type MarryResult struct {
	Pair   PairResult
	Clips  []Married
	Report string // path of report.json
}

// The states of a Married clip.
const (
	Written = "written"
	Kept    = "kept"   // already there and still right
	Passed  = "passed" // not married, and why
	Broken  = "failed"
)

// Married is one clip's end.
type Married struct {
	Clip    string     `json:"clip"`
	Sound   string     `json:"sound,omitempty"`
	Out     string     `json:"out,omitempty"`   // path written or found
	State   string     `json:"state"`           // written, kept, passed or failed
	Why     []string   `json:"why,omitempty"`   // in words
	Fills   []Fill     `json:"fills,omitempty"` // parts the sound does not cover
	Proof   *Proof     `json:"proof,omitempty"` // measured on the written file
	Take    shoot.Take `json:"take"`            // as measured
	Said    []string   `json:"said,omitempty"`  // what a person said of it, in words
	Error   string     `json:"error,omitempty"`
	Picture string     `json:"picture,omitempty"` // size, rate, frames, timecode
	Laid    string     `json:"laid,omitempty"`    // on the scratch, or how much earlier and why
}

// A Fill is a part of the clip, in clip seconds, that the good sound does not
// cover.
type Fill struct {
	From float64 `json:"from_s"`
	To   float64 `json:"to_s"`
	With string  `json:"with"` // "scratch" or "silence"
	Gain float64 `json:"gain_db"`
	Code string  `json:"timecode,omitempty"` // of From, where the clip has timecode
}

func (o *MarryOptions) complete() error {
	choose := func(v *string, first string, rest ...string) error {
		if *v == "" {
			*v = first
		}
		for _, r := range append(rest, first) {
			if *v == r {
				return nil
			}
		}
		return &fault.Error{Kind: fault.Usage, Op: "marry with", Subject: *v, Err: errors.New("not one of the choices"), Hint: "see earshot marry --help"}
	}
	if o.To == "" {
		o.To = "married"
	}
	if d := o.Distance; d != nil && !(*d >= 0 && *d <= 1000) {
		return &fault.Error{Kind: fault.Usage, Op: "take the distance", Err: fmt.Errorf("%g metres is no distance between a camera and a talker", *d), Hint: "give metres, 0 to 1000"}
	}
	if o.Celsius == nil {
		room := 20.0
		o.Celsius = &room
	}
	if c := *o.Celsius; !(c >= -90 && c <= 60) {
		return &fault.Error{Kind: fault.Usage, Op: "take the temperature", Err: fmt.Errorf("%g °C is no air to film in", c), Hint: "give degrees Celsius, -90 to 60"}
	}
	return errors.Join(choose(&o.Sound, "pcm", "aac"), choose(&o.Scratch, "keep", "drop"), choose(&o.Gaps, "scratch", "silence"))
}

// earlier is how many seconds the good sound is moved, and a word on it.
func (o *MarryOptions) earlier() (float64, string) {
	if o.Distance == nil {
		return 0, "on what the camera heard"
	}
	t := dsp.Flight(*o.Distance, *o.Celsius)
	return t, fmt.Sprintf("%.2f ms earlier than the camera heard it: the sound's flight over %g m at %g °C", t*1e3, *o.Distance, *o.Celsius)
}

// Marry pairs the recordings and writes a finished clip for every sure take.
// A clip that fails is reported in the result and does not stop the others.
func (a *App) Marry(ctx context.Context, opt MarryOptions) (*MarryResult, error) {
	if err := opt.complete(); err != nil {
		return nil, err
	}
	ending := map[string]string{"pcm": ".mov", "aac": ".mp4"}[opt.Sound]
	names, err := newNamer(opt.To, opt.Name, ending)
	if err != nil {
		return nil, err
	}
	if err := openTarget(opt.To); err != nil {
		return nil, err
	}
	d, err := a.Measure(ctx, PairOptions{Paths: opt.Paths, Skip: opt.To, Fresh: opt.Fresh, Shoot: opt.Shoot, Progress: opt.Progress})
	if err != nil {
		return nil, err
	}
	m := &marriage{app: a, opt: opt, day: d, names: names, tell: newTeller(opt.Progress), originals: newOriginals(d)}
	result := &MarryResult{Pair: d.result, Clips: m.plan(ctx)}
	m.writeAll(ctx)
	for i, w := range m.work {
		result.Clips[i] = w.out
	}
	result.Report = reportPath(opt.To)
	if err := a.report(ctx, opt, d, result); err != nil {
		return result, err
	}
	return result, ctx.Err()
}

// A marriage is the writing of a day's clips.
type marriage struct {
	app   *App
	opt   MarryOptions
	day   *Day
	names *namer
	tell  *teller
	work  []*wedding

	originals originals
}

// A wedding is one clip's.
type wedding struct {
	n      int // its place in the work
	out    Married
	choice *Choice
	take   *dayTake // as it is to be laid
	made   provenance
	todo   bool
}

// plan decides for every clip with a take which sound it gets and under which
// name, and whether there is anything to do.
func (m *marriage) plan(ctx context.Context) []Married {
	for _, choice := range m.day.Choices(m.day.words) {
		if !m.wanted(choice) {
			continue
		}
		w := &wedding{n: len(m.work), choice: choice, take: &choice.laid}
		w.out = Married{Clip: w.take.clip.path, Picture: pictureWords(w.take.clip.info), Sound: w.take.sound.path, Take: choice.Take(), Said: saidWords(choice)}
		for _, o := range choice.other {
			w.out.Why = append(w.out.Why, "also heard by "+fault.Quote(o.path))
		}
		m.work = append(m.work, w)
		if err := m.prepare(ctx, w); err != nil {
			w.fail(err)
		}
	}
	return make([]Married, len(m.work))
}

// wanted tells whether a clip is among those asked for.
func (m *marriage) wanted(c *Choice) bool {
	return len(m.opt.Only) == 0 || slices.Contains(m.opt.Only, c.laid.clip.path)
}

func (w *wedding) fail(err error) {
	w.todo = false
	w.out.State, w.out.Error = Broken, describe(err)
}

// prepare names the clip and sees what stands there already.
func (m *marriage) prepare(ctx context.Context, w *wedding) error {
	if !w.choice.Settled() && !m.opt.Unsure {
		w.out.State = Passed
		w.out.Why = append(w.out.Why, "unsure, and nothing is guessed; --also unsure marries it all the same")
		return nil
	}
	var err error
	if w.made.clip, err = store.Fingerprint(w.take.clip.path); err != nil {
		return err
	}
	if w.made.sound, err = store.Fingerprint(w.take.sound.path); err != nil {
		return err
	}
	w.made.earlier, w.out.Laid = m.opt.earlier()
	w.made.plan = planDigest(m.opt, &w.take.found)
	var there provenance
	w.out.Out = m.names.choose(w.out.Clip, w.choice.Word.Name, func(path string) bool {
		if m.originals.hold(path) {
			return false
		}
		info, err := m.app.Engine.Probe(ctx, path)
		p, ours := provenanceOf(info)
		if err != nil || !ours {
			return m.opt.Again
		}
		there = p
		return p.clip == w.made.clip
	})
	switch {
	case w.out.Out == "":
		return &fault.Error{Kind: fault.Unwritable, Op: "name the clip", Subject: w.out.Clip, Err: errors.New("every name is taken"), Hint: "choose another folder with --to"}
	case len(filepath.Base(w.out.Out)) > longestName:
		return &fault.Error{Kind: fault.Unwritable, Op: "name the clip", Subject: w.out.Clip, Err: errors.New("its new name would be longer than disks allow"), Hint: `choose a shorter one, for example --name "{clip}", and another folder with --to`}
	case m.opt.Again || there.clip != w.made.clip:
		w.todo = true
	case there.same(w.made):
		w.out.State = Kept
	default:
		w.out.State = Passed
		w.out.Why = append(w.out.Why, "the clip there was married otherwise; --again replaces it")
	}
	return nil
}

// writeAll writes what is to do, a few clips at once.
func (m *marriage) writeAll(ctx context.Context) {
	next := make(chan *wedding)
	var group sync.WaitGroup
	var mu sync.Mutex
	todo, done := 0, 0
	for _, w := range m.work {
		if w.todo {
			todo++
		}
	}
	for range min(todo, runtime.NumCPU()+1, 4) { // one more than cores: a clip waits for the disk at its end
		group.Go(func() {
			for w := range next {
				if err := guarded(w.out.Clip, func() error { return m.write(ctx, w) }); err != nil {
					w.fail(err)
				}
				mu.Lock()
				done++
				m.tell.step("marrying", w.out.Clip, float64(done), float64(todo))
				mu.Unlock()
			}
		})
	}
	for _, w := range m.work {
		if w.todo {
			next <- w
		}
	}
	close(next)
	group.Wait()
}

// write makes one clip: written aside, on the disk, opened again and measured,
// then given its name.
func (m *marriage) write(ctx context.Context, w *wedding) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	// Two clips may be copies of one: the part's name is not the content's alone.
	part := partName(m.opt.To, fmt.Sprintf("%s-%d", w.made.clip, w.n))
	try := func() error {
		err := m.render(ctx, w, part)
		if err == nil {
			err = m.settle(ctx, w, part)
		}
		if err != nil {
			removePart(part)
		}
		return err
	}
	err := try()
	if isEngineDeath(err) && ctx.Err() == nil { // it may have been another clip's doing
		err = try()
	}
	if err != nil {
		return about(err, part, w.out.Out)
	}
	if err := finish(part, w.out.Out, m.opt.Again); err != nil {
		return err
	}
	w.out.State = Written
	return nil
}

// settle measures a written clip while the disk takes it in.
func (m *marriage) settle(ctx context.Context, w *wedding, part string) error {
	synced := make(chan error, 1)
	go func() { synced <- syncFile(part) }()
	err := m.check(ctx, w, part)
	if failed := <-synced; failed != nil && err == nil {
		err = unwritten(w.out.Out, failed)
	}
	return err
}

// about makes an error that names one file name another: nobody asked for a
// part.
func about(err error, file, other string) error {
	e, ok := err.(*fault.Error)
	if !ok || e.Subject != file {
		return err
	}
	named := *e
	named.Subject = other
	return &named
}

func (m *marriage) render(ctx context.Context, w *wedding, part string) error {
	score, err := m.score(ctx, w)
	if err != nil {
		return err
	}
	plan := media.Plan{
		Clip: w.take.clip.path, Info: w.take.clip.info, Out: part, Container: "mov",
		Sound:   media.Track{Codec: "pcm_s24le", Rate: clipRate, Channels: score.channels, Title: "Good sound"},
		Scratch: m.opt.Scratch == "keep",
		Tags:    map[string]string{madeByTag: w.made.after(w.take.clip.info.Tags[madeByTag])},
	}
	if m.opt.Sound == "aac" {
		plan.Container, plan.Sound.Codec = "mp4", "aac"
	}
	w.out.Why = appendNew(w.out.Why, m.app.Engine.Limits(plan)...)
	return m.app.render(ctx, plan, score)
}

// appendNew appends the words that are not there yet.
func appendNew(words []string, more ...string) []string {
	for _, s := range more {
		seen := false
		for _, w := range words {
			seen = seen || w == s
		}
		if !seen {
			words = append(words, s)
		}
	}
	return words
}
