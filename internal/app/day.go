package app

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"sync"

	"earshot/internal/align"
	"earshot/internal/fault"
	"earshot/internal/shoot"
	"earshot/internal/store"
)

// A Day is a shoot, read and measured. Once Measure has returned it, only what
// Near finds is added. It is safe for concurrent use.
type Day struct {
	app           *App
	clips, sounds []*recording
	takes         []dayTake          // as in result.Document.Takes, index by index
	nearest       map[*recording]int // by clip: the take whose wearer is its nearest talker, where that is known
	measured      *measurer
	keys          keys
	words         map[string]shoot.Word // heeded while measuring
	result        PairResult

	mu     sync.Mutex
	nearby []dayTake // what Near found
}

// A dayTake keeps what a take's document does not say.
type dayTake struct {
	clip, sound *recording
	link        *link
	found       align.Found // with the drift that was settled on
}

// Measure reads and measures the recordings under opt.Paths. What Pair says of
// them is in Result; more can be asked of the Day.
func (a *App) Measure(ctx context.Context, opt PairOptions) (*Day, error) {
	tell := newTeller(opt.Progress)
	tell.news = opt.News
	words, err := wordsOf(opt.Shoot)
	if err != nil {
		return nil, err
	}
	g, err := gather(ctx, opt.Paths, opt.Skip)
	if err != nil {
		return nil, err
	}
	if len(g.files) == 0 && len(g.bad) == 0 {
		return nil, &fault.Error{Kind: fault.Usage, Op: "look for recordings",
			Err: fmt.Errorf("no clip and no sound under what was named"), Hint: "name the camera's folder and the recorder's folder"}
	}
	tell.expect(g.files)
	d := &Day{app: a, words: words}
	if words != nil {
		if d.keys, err = keysOf(ctx, g.files); err != nil {
			return nil, err
		}
	}
	tell.found(News{Files: d.keys.of(g.files)})
	r := &reader{app: a, fresh: opt.Fresh, tell: tell}
	read, err := r.readAll(ctx, g.files)
	if err != nil {
		return nil, err
	}
	d.result.Notes = g.notes
	d.sort(g, read)
	m := &measurer{app: a, fresh: opt.Fresh, tell: tell, clips: d.clips, sounds: d.sounds}
	d.measured = m
	if err := m.run(ctx); err != nil {
		return nil, err
	}
	if err := d.decide(ctx, m); err != nil {
		return nil, err
	}
	d.result.Notes = append(d.result.Notes, d.heeded()...)
	a.Cache.Trim(d.identities())
	return d, nil
}

// wordsOf is what a person said of the clips of a shoot; nil where no shoot is
// kept in the folder, and then nothing is read of the recordings for its sake.
func wordsOf(folder string) (map[string]shoot.Word, error) {
	if folder == "" || !store.HasShoot(folder) {
		return nil, nil
	}
	s, err := store.OpenShoot(folder)
	if err != nil {
		return nil, err
	}
	words, err := s.Words()
	return words, errors.Join(err, s.Close())
}

// heeded says what a person said of the day's clips.
func (d *Day) heeded() (notes []string) {
	if len(d.words) == 0 {
		return nil
	}
	for _, c := range d.Choices(d.words) {
		if said := saidWords(c); len(said) > 0 {
			notes = append(notes, fault.Quote(c.laid.clip.path)+": "+strings.Join(said, ", ")+" (said by you, and heeded)")
		}
	}
	return notes
}

// Result is what Pair says of the day.
func (d *Day) Result() *PairResult { return &d.result }

// Recordings are the day's, clips first.
func (d *Day) Recordings() []*Recording {
	var out []*Recording
	for _, list := range [][]*recording{d.clips, d.sounds} {
		for _, r := range list {
			out = append(out, &Recording{r})
		}
	}
	return out
}

// Key is the name under which words about a recording are kept: of its content,
// so that a copy in another folder has the same. A second recording of the same
// content in one shoot has a number behind it. "" where no shoot is kept.
func (d *Day) Key(r *Recording) string { return d.key(r.rec) }

func (d *Day) key(r *recording) string { return d.keys[r.path] }

// Recording is that of a key, nil where there is none.
func (d *Day) Recording(key string) *Recording {
	for _, list := range [][]*recording{d.clips, d.sounds} {
		if r := d.named(key, list); r != nil {
			return &Recording{r}
		}
	}
	return nil
}

// refused tells whether a person said that clip i and sound k do not belong
// together.
func (d *Day) refused(i, k int) bool {
	return len(d.words) > 0 && d.words[d.key(d.clips[i])].Refuses(d.key(d.sounds[k]))
}

// named finds a recording of a list by its key, nil where there is none.
func (d *Day) named(key string, recs []*recording) *recording {
	for _, r := range recs {
		if key != "" && d.key(r) == key {
			return r
		}
	}
	return nil
}

// at finds a recording of a list by its path, nil where there is none.
func (d *Day) at(path string, recs []*recording) *recording {
	for _, r := range recs {
		if r.path == path {
			return r
		}
	}
	return nil
}

// keys are recordings' keys by their paths.
type keys map[string]string

// keysOf makes the keys of files. One that cannot be read has that of its path.
func keysOf(ctx context.Context, files []string) (keys, error) {
	prints := make([]string, len(files))
	err := inParallel(ctx, len(files), func(i int) error {
		print, err := store.Fingerprint(files[i])
		if err != nil {
			sum := sha256.Sum256([]byte(files[i]))
			print = store.Identity("x" + hex.EncodeToString(sum[:15]))
		}
		prints[i] = string(print)
		return nil
	})
	out, seen := keys{}, map[string]int{}
	for i, p := range prints {
		seen[p]++
		if n := seen[p]; n > 1 {
			p = fmt.Sprintf("%s-%d", p, n)
		}
		out[files[i]] = p
	}
	return out, err
}

// of pairs files with their keys.
func (k keys) of(files []string) []File {
	out := make([]File, len(files))
	for i, f := range files {
		out[i] = File{Path: f, Key: k[f]}
	}
	return out
}
