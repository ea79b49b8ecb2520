package app

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"sync"

	"earshot/internal/dsp"
	"earshot/internal/fault"
	"earshot/internal/media"
	"earshot/internal/store"
)

// A recording is one file, read: what it says about itself and a small picture
// of each of its sound tracks.
type recording struct {
	path   string
	id     store.Identity
	info   media.Info
	tracks []track
	device string
}

// A track is one sound track, ready to be compared.
type track struct {
	Samples int // at dsp.ProxyRate
	Rows    int // of the sketch
	Onsets  []dsp.Onset
	Silent  bool         // nothing but digital silence
	Talk    dsp.Activity // Busiest is over scratchSpan
}

func (r *recording) clip() bool { return r.info.HasPicture() }

// reading is what the cache keeps of a recording beside sketches and proxies.
type reading struct {
	Info   media.Info
	Tracks []track
}

const readingName = "reading-2.json"

// A reader reads recordings, several at once.
type reader struct {
	app   *App
	fresh bool
	whole bool // read what Earshot wrote too
	tell  *teller
}

type readResult struct {
	rec *recording
	err error
}

// readAll reads files; results stand in the order of files.
func (r *reader) readAll(ctx context.Context, files []string) ([]readResult, error) {
	results := make([]readResult, len(files))
	next := make(chan int)
	var group sync.WaitGroup
	for range min(len(files), workers()) {
		group.Go(func() {
			for i := range next {
				var rec *recording
				err := guarded(files[i], func() (err error) {
					rec, err = r.read(ctx, files[i])
					if isEngineDeath(err) && ctx.Err() == nil { // it may have been another file's doing
						rec, err = r.read(ctx, files[i])
					}
					return err
				})
				results[i] = readResult{rec, err}
				r.tell.found(readNews(files[i], rec, err))
			}
		})
	}
	for _, i := range longestFirst(files) {
		if ctx.Err() != nil {
			break
		}
		next <- i
	}
	close(next)
	group.Wait()
	return results, ctx.Err()
}

// longestFirst orders files by how long their sound may be, going by size and
// ending: an hour of sound that is begun last keeps one core busy alone.
func longestFirst(files []string) []int {
	order, length := make([]int, len(files)), make([]float64, len(files))
	for i, f := range files {
		order[i] = i
		info, err := os.Stat(f)
		if err != nil {
			continue // reading it says why
		}
		perSecond := 600e3 // bytes, of pictures and sound
		switch strings.ToLower(filepath.Ext(f)) {
		case ".m4a", ".aac", ".mp3", ".mp2", ".ogg", ".oga", ".opus", ".amr", ".wma", ".ac3", ".mka":
			perSecond = 12e3
		case ".wav", ".wave", ".bwf", ".rf64", ".w64", ".aif", ".aiff", ".aifc", ".caf", ".flac":
			perSecond = 150e3
		}
		length[i] = float64(info.Size()) / perSecond
	}
	sort.SliceStable(order, func(a, b int) bool { return length[order[a]] > length[order[b]] })
	return order
}

func isEngineDeath(err error) bool {
	return err != nil && fault.KindOf(err) == fault.Engine && !errors.Is(err, context.Canceled)
}

func (r *reader) read(ctx context.Context, path string) (*recording, error) {
	id, err := store.Identify(path)
	if err != nil {
		return nil, err
	}
	rec := &recording{path: path, id: id}
	if !r.fresh && r.load(rec) {
		r.app.Cache.Touch(id)
		r.tell.read(rec.path, rec.info.Duration, rec.info.Duration)
		return rec, nil
	}
	if rec.info, err = r.app.Engine.Probe(ctx, path); err != nil {
		return nil, err
	}
	rec.device = deviceOf(rec)
	if isMarried(rec.info) && !r.whole {
		return rec, nil
	}
	for i := range rec.info.Sounds {
		t, err := r.decode(ctx, rec, i)
		if err != nil {
			return nil, err
		}
		rec.tracks = append(rec.tracks, t)
	}
	if !rec.clip() && len(rec.tracks) > 0 && rec.tracks[0].Samples == 0 {
		return nil, &fault.Error{Kind: fault.Unreadable, Op: "read sound", Subject: path,
			Err: errors.New("it holds no sound, not even a sample"), Hint: "the recorder may not have closed it; try a copy from the device again"}
	}
	return rec, r.app.Cache.Save(id, readingName, reading{rec.info, rec.tracks})
}

// load fills rec from the cache.
func (r *reader) load(rec *recording) bool {
	var kept reading
	if !r.app.Cache.Load(rec.id, readingName, &kept) || len(kept.Tracks) != len(kept.Info.Sounds) {
		return false
	}
	for i, t := range kept.Tracks {
		if !r.app.Cache.HasRows(rec.id, sketchName(i), t.Rows, dsp.SketchBands) || !r.app.Cache.HasProxy(rec.id, proxyName(i), t.Samples) {
			return false
		}
	}
	rec.info, rec.tracks = kept.Info, kept.Tracks
	rec.device = deviceOf(rec)
	return true
}

// decode reads one sound track once, from end to end, and keeps its sketch, whole
// and halved, and its proxy.
func (r *reader) decode(ctx context.Context, rec *recording, stream int) (t track, err error) {
	k, err := r.keep(rec.id, stream)
	if err != nil {
		return t, err
	}
	onsets := &dsp.OnsetFinder{}
	t.Silent = true
	req := media.Decode{Path: rec.path, Info: &rec.info, Stream: stream, Rate: dsp.ProxyRate, Mono: true}
	done := 0
	err = r.app.Engine.Decode(ctx, req, func(block []float32) error {
		block = finite(block)
		onsets.Write(block)
		t.Silent = t.Silent && silent(block)
		done += len(block)
		r.tell.read(rec.path, float64(done)/dsp.ProxyRate, rec.info.Duration)
		return k.write(block)
	})
	if err != nil {
		k.discard()
		return t, err
	}
	if t.Samples, t.Rows, err = k.close(); err != nil {
		return t, err
	}
	t.Onsets = onsets.Onsets()
	sketch, err := r.app.Cache.OpenRows(rec.id, sketchName(stream), t.Rows, dsp.SketchBands)
	if err != nil {
		return t, err
	}
	defer sketch.Close()
	if err := r.app.halve(rec.id, stream, sketch); err != nil {
		return t, err
	}
	t.Talk, err = dsp.ActivityOf(sketch, scratchSpan)
	return t, err
}

// finite puts silence in the place of samples that are infinite or no number,
// as the resampler does: a single one would drown its neighbours.
func finite(block []float32) []float32 {
	clean := block
	for i, v := range block {
		if v-v == 0 {
			continue
		}
		if &clean[0] == &block[0] { // the engine's own stays as it is
			clean = append([]float32(nil), block...)
		}
		clean[i] = 0
	}
	return clean
}

func silent(block []float32) bool {
	for _, v := range block {
		if v != 0 {
			return false
		}
	}
	return true
}

// deviceOf guesses which device wrote a recording, from what its other
// recordings would share: the folder, the way names begin, the format.
func deviceOf(r *recording) string {
	parts := []string{filepath.Dir(r.path), nameStem(r.path), r.info.Tags["make"], r.info.Tags["model"]}
	for _, p := range r.info.Pictures {
		parts = append(parts, p.Codec, strconv.Itoa(p.Width), strconv.Itoa(p.Height))
	}
	for _, s := range r.info.Sounds {
		parts = append(parts, s.Codec, strconv.Itoa(s.Rate), strconv.Itoa(s.Channels))
	}
	return strings.Join(parts, "\x00")
}

// nameStem is the beginning of a file's name before its first digit, in lower
// case: "C0007.MP4" and "C0011.MP4" share "c".
func nameStem(path string) string {
	base := strings.ToLower(filepath.Base(path))
	if i := strings.IndexAny(base, "0123456789"); i >= 0 {
		base = base[:i]
	}
	return base
}
