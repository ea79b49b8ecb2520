package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"time"
	"unicode"
)

const (
	perFile   = 30 * time.Second // longest that one file may take
	inFolder  = 20               // files in a folder
	aloneEach = 5                // one file in so many is also tried by itself
)

// breaking makes broken files, in folders of twenty, and runs the program over
// them: pair, and marry with a good take beside them, which must come out.
func (r *rig) breaking(ctx context.Context) error {
	sources, err := r.sources(ctx)
	if err != nil {
		return err
	}
	var t tally
	for n := 0; n < r.broken; n += inFolder {
		folder := filepath.Join(r.dir, fmt.Sprintf("broken-%02d", n/inFolder))
		for i := n; i < min(n+inFolder, r.broken); i++ {
			if err := r.breakOne(sources, folder, i); err != nil {
				return err
			}
		}
		if err := r.tryFolder(ctx, folder, &t); err != nil {
			return err
		}
		if r.keep == "" {
			os.RemoveAll(folder)
		}
	}
	r.say("%s: %d broken files from %d whole ones: %d could not be read, %d were read and are alone, %d stand in takes; %d were also tried alone",
		r.engine, r.broken, len(sources), t.failed, t.alone, t.takes, t.single)
	r.say("%s: the slowest folder of %d took %v, the slowest file alone %v; %d broken clips were married, and proved",
		r.engine, inFolder, t.folder.Round(time.Millisecond), t.file.Round(time.Millisecond), t.married)
	return nil
}

// A tally counts what became of broken files.
type tally struct {
	failed, alone, takes, single, married int
	folder, file                          time.Duration
}

// sources lists the whole files that get broken.
func (r *rig) sources(ctx context.Context) ([]string, error) {
	paths, err := makeKinds(ctx, r.helper, filepath.Join(r.dir, "kinds"))
	if err != nil {
		return nil, err
	}
	for _, pattern := range []string{"internal/media/mediatest/testdata/*.[^R]*", "internal/scene/testdata/speech/" + otherTalk + "*.wav", "internal/scene/testdata/rir/*.wav"} {
		root, err := sourceTree()
		if err != nil {
			return nil, err
		}
		found, err := filepath.Glob(filepath.Join(root, pattern))
		if err != nil || len(found) == 0 {
			return nil, fmt.Errorf("no files %s: %w", pattern, err)
		}
		for _, f := range found {
			if filepath.Ext(f) != ".md" {
				paths = append(paths, f)
			}
		}
	}
	return append(paths, filepath.Join(r.day, "card/C0001.MP4"), filepath.Join(r.day, "card/C0003.MOV"),
		filepath.Join(r.day, "mic/0001.WAV"), filepath.Join(r.day, "mic/0002.m4a")), nil
}

// sourceTree finds the folder of the module.
func sourceTree() (string, error) {
	dir, err := os.Getwd()
	for err == nil {
		if _, miss := os.Stat(filepath.Join(dir, "go.mod")); miss == nil {
			return dir, nil
		}
		if dir == filepath.Dir(dir) {
			err = errors.New("run this inside the source tree")
		}
		dir = filepath.Dir(dir)
	}
	return "", err
}

// breakOne writes broken file i into folder. Sources and breakages both take
// turns, so that few files already meet all of them.
func (r *rig) breakOne(sources []string, folder string, i int) error {
	rng := rand.New(rand.NewPCG(r.seed, uint64(1000+i)))
	source := sources[i%len(sources)]
	content, err := os.ReadFile(source)
	if err != nil {
		return err
	}
	b := breakages[(i+i/len(breakages))%len(breakages)]
	content = b.do(rng, append([]byte(nil), content...))
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return err
	}
	ending := filepath.Ext(source)
	if ending == ".rf64" {
		ending = ".wav"
	}
	if b.name == "misnamed" {
		ending = []string{".mp3", ".mov", ".wav", ".mts", ".aac"}[rng.IntN(5)]
	}
	name := fmt.Sprintf("%03d-%s-%s%s", i, b.name, strings.TrimSuffix(filepath.Base(source), filepath.Ext(source)), ending)
	return os.WriteFile(filepath.Join(folder, name), content, 0o444)
}

// breakages are the ways to break a file's content.
var breakages = []struct {
	name string
	do   func(rng *rand.Rand, b []byte) []byte
}{
	{"cut", func(rng *rand.Rand, b []byte) []byte { return b[:rng.IntN(len(b))] }},
	{"flip1", func(rng *rand.Rand, b []byte) []byte { return flip(rng, b, 1, 0, len(b)) }},
	{"flip100", func(rng *rand.Rand, b []byte) []byte { return flip(rng, b, 100, 0, len(b)) }},
	{"fliphead", func(rng *rand.Rand, b []byte) []byte { return flip(rng, b, 8, 0, min(len(b), 512)) }},
	{"fliptail", func(rng *rand.Rand, b []byte) []byte { return flip(rng, b, 20, max(0, len(b)-4000), len(b)) }},
	{"headless", func(rng *rand.Rand, b []byte) []byte { return b[rng.IntN(len(b)/2):] }},
	{"stub", func(rng *rand.Rand, b []byte) []byte { return b[:rng.IntN(min(len(b), 200))] }},
	{"zeros", func(rng *rand.Rand, b []byte) []byte { clear(stretch(rng, b)); return b }},
	{"noise", func(rng *rand.Rand, b []byte) []byte {
		for i, s := 0, stretch(rng, b); i < len(s); i++ {
			s[i] = byte(rng.Uint32())
		}
		return b
	}},
	{"doubled", func(rng *rand.Rand, b []byte) []byte {
		at := rng.IntN(len(b))
		return append(b[:at:at], b[at/2:]...)
	}},
	{"sizes", lieAboutSizes},
	{"misnamed", func(_ *rand.Rand, b []byte) []byte { return b }},
}

func flip(rng *rand.Rand, b []byte, n, from, to int) []byte {
	for range n {
		b[from+rng.IntN(to-from)] ^= byte(1 + rng.IntN(255))
	}
	return b
}

// stretch is some part of b, up to a quarter.
func stretch(rng *rand.Rand, b []byte) []byte {
	n := 1 + rng.IntN(len(b)/4)
	at := rng.IntN(len(b) - n)
	return b[at : at+n]
}

// lieAboutSizes puts extreme numbers where four letters stand, before them and
// behind: there containers keep sizes, counts and times.
func lieAboutSizes(rng *rand.Rand, b []byte) []byte {
	var places []int
	for i := 4; i+12 < len(b) && len(places) < 400; i++ {
		if letters(b[i : i+4]) {
			places = append(places, i)
		}
	}
	if len(places) == 0 {
		return flip(rng, b, 4, 0, len(b))
	}
	values := [][]byte{{0, 0, 0, 0}, {0xff, 0xff, 0xff, 0xff}, {0x7f, 0xff, 0xff, 0xff}, {0x80, 0, 0, 0}, {0, 0, 0, 1}, {1, 0, 0, 0}}
	for range 1 + rng.IntN(4) {
		at := places[rng.IntN(len(places))] + []int{-4, 4, 8}[rng.IntN(3)]
		copy(b[at:], values[rng.IntN(len(values))])
	}
	return b
}

func letters(b []byte) bool {
	for _, c := range b {
		if (c < 'a' || c > 'z') && (c < 'A' || c > 'Z') && c != ' ' {
			return false
		}
	}
	return true
}

// A document is what the program says of a shoot, as far as it matters here.
type document struct {
	Takes  []struct{ Clip, Sound, Verdict string }
	Alone  []struct{ Path string }
	Failed []struct{ Path, Error string }
}

// tryFolder runs pair and marry over a folder of broken files, and over some
// of the files alone.
func (r *rig) tryFolder(ctx context.Context, folder string, t *tally) error {
	before, err := look(folder)
	if err != nil {
		return err
	}
	limit := perFile * time.Duration(len(before))
	res, err := r.run(ctx, limit, "pair", "--json", folder)
	if err != nil {
		return err
	}
	t.folder = max(t.folder, res.took)
	var doc document
	if err := json.Unmarshal([]byte(res.out), &doc); err != nil {
		r.wrong("pair %s prints no document: %v; %s", folder, err, res.err)
	}
	r.judge("pair "+folder, folder, before, doc, res)
	t.failed, t.alone = t.failed+len(doc.Failed), t.alone+len(doc.Alone)
	if err := r.marryBeside(ctx, folder, limit, t); err != nil {
		return err
	}
	names := make([]string, 0, len(before))
	for name := range before {
		names = append(names, name)
	}
	sort.Strings(names)
	for i := r.rng.IntN(aloneEach); i < len(names); i += aloneEach {
		if err := r.tryAlone(ctx, filepath.Join(folder, names[i]), t); err != nil {
			return err
		}
	}
	after, err := look(folder)
	r.unchanged("after "+folder, before, after)
	return err
}

// judge holds what was said of a folder of broken files against the promises:
// each is told of exactly once, in words, and the status fits.
func (r *rig) judge(when, folder string, files picture, doc document, res run) {
	told := map[string]int{}
	add := func(path string) { told[filepath.Base(path)]++ }
	for _, x := range doc.Alone {
		add(x.Path)
	}
	paired := map[string]bool{}
	for _, x := range doc.Takes {
		paired[filepath.Base(x.Clip)], paired[filepath.Base(x.Sound)] = true, true
	}
	for _, x := range doc.Failed {
		add(x.Path)
		r.clear(when, x.Path, x.Error)
	}
	for name := range files {
		n := told[name]
		if paired[name] {
			n++
		}
		if n != 1 {
			r.wrong("%s: %s is told of %d times", when, name, n)
		}
	}
	if want := len(doc.Failed) > 0; want != (res.status == 1) {
		r.wrong("%s: status %d with %d failures", when, res.status, len(doc.Failed))
	}
}

// clear wants an error to be one line of printable words that names the file
// and says more than that.
func (r *rig) clear(when, path, text string) {
	i := strings.Index(text, `": `)
	switch {
	case !strings.Contains(text, filepath.Base(path)) || i < 0 || len(text) < i+12:
		r.wrong("%s: %q does not say what is wrong with %s", when, text, path)
	case strings.IndexFunc(text, func(c rune) bool { return !unicode.IsPrint(c) }) >= 0:
		r.wrong("%s: %q holds what no terminal should get", when, text)
	case !strings.Contains(text, "; "):
		r.wrong("%s: %q does not say what to do", when, text)
	}
}

// marryBeside marries the broken files together with the good shoot.
func (r *rig) marryBeside(ctx context.Context, folder string, limit time.Duration, t *tally) error {
	out := folder + "-married"
	res, err := r.run(ctx, limit+time.Minute, "marry", folder, r.day, "--to", out, "--json", "--also", "unsure")
	if err != nil {
		return err
	}
	defer os.RemoveAll(out)
	var doc struct {
		Pair  document
		Clips []struct{ Clip, Out, State, Error string }
	}
	if err := json.Unmarshal([]byte(res.out), &doc); err != nil {
		r.wrong("marry %s prints no document: %v; %s", folder, err, res.err)
	}
	good := 0
	written := map[string]bool{"report.json": true, "report.txt": true}
	for _, c := range doc.Clips {
		ours := strings.HasPrefix(c.Clip, r.day)
		switch c.State {
		case "written":
			written[filepath.Base(c.Out)] = true
			if _, err := r.helper.Probe(ctx, c.Out); err != nil {
				r.wrong("marry %s: %s was written and cannot be read: %v", folder, c.Out, err)
			}
			if ours {
				good++
			} else {
				t.married++
			}
		case "failed":
			if ours {
				r.wrong("marry %s: the good clip %s failed: %s", folder, c.Clip, c.Error)
			}
		}
	}
	if good != 3 {
		r.wrong("marry %s: %d of 3 good clips were written; status %d; %s", folder, good, res.status, res.err)
	}
	t.takes += len(doc.Pair.Takes) - 3
	left, err := look(out)
	for name := range left {
		if !written[name] {
			r.wrong("marry %s: %s is left behind", folder, name)
		}
	}
	return err
}

// tryAlone gives the program one broken file and nothing else, as text.
func (r *rig) tryAlone(ctx context.Context, path string, t *tally) error {
	t.single++
	res, err := r.run(ctx, perFile, "pair", path, "--fresh")
	if err != nil {
		return err
	}
	t.file = max(t.file, res.took)
	if res.status != 0 && res.status != 1 {
		r.wrong("pair %s alone: status %d", path, res.status)
	}
	if !strings.Contains(res.out, "1 recording alone") && !strings.Contains(res.out, "1 could not be read") {
		r.wrong("pair %s alone says %q, %q", path, res.out, res.err)
	}
	out := path + "-out"
	res, err = r.run(ctx, perFile, "marry", path, "--to", out)
	if err != nil {
		return err
	}
	defer os.RemoveAll(out)
	left, err := look(out)
	for name := range left {
		if !strings.HasPrefix(name, "report.") {
			r.wrong("marry %s alone leaves %s", path, name)
		}
	}
	return err
}
