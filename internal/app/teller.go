package app

import (
	"os"
	"sync"
)

// A teller passes progress on, one call at a time. A nil func is fine.
type teller struct {
	mu    sync.Mutex
	fn    func(Progress)
	news  func(News)         // may be nil
	sizes map[string]float64 // bytes of the files to read
	done  map[string]float64 // bytes of them that count as read
	sum   Progress
}

func newTeller(fn func(Progress)) *teller {
	return &teller{fn: fn, sizes: map[string]float64{}, done: map[string]float64{}}
}

// expect says beforehand which files will be read.
func (t *teller) expect(files []string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, f := range files {
		if info, err := os.Stat(f); err == nil {
			t.sizes[f] = float64(info.Size())
			t.sum.Total += float64(info.Size())
		}
	}
}

// read says that done of total seconds of a file have been read.
func (t *teller) read(path string, done, total float64) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.fn == nil {
		return
	}
	t.sum.Part = 0
	if total > 0 {
		t.sum.Part = min(1, done/total)
	}
	part := t.sizes[path] * t.sum.Part
	t.sum.Done += part - t.done[path]
	t.done[path] = part
	t.sum.Step, t.sum.File = "reading", path
	t.fn(t.sum)
}

// step says how far another step is.
func (t *teller) step(step, file string, done, total float64) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.fn != nil {
		t.fn(Progress{Step: step, File: file, Done: done, Total: total})
	}
}

// found passes on what was found.
func (t *teller) found(n News) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.news != nil {
		t.news(n)
	}
}
