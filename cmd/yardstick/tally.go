package main

import (
	"fmt"
	"io"
	"math"
	"sort"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/scene"
	"earshot/internal/shoot"
)

// What counts, in seconds.
const (
	wrongBy    = 0.020 // a take laid further off than this is a wrong one
	longTake   = 20.0  // "over 20 s"
	longDrift  = 300.0 // "over 5 min"
	leastTalk  = 2.0   // a pair with less speech in common need not be found
	microMilli = 1e3
)

// A tally counts outcomes over shoots.
type tally struct {
	lines              []string
	pairs, found, sure int // with enough speech in common
	long, longSure     int // and over 20 s
	wrongSure, wrong   int
	alone, aloneRight  int
	mid, worst, drift  []float64 // errors: ms, ms, ppm
	within1, within2   int       // of 1 and 2 sigma, at clip time 0
	rooms              map[string][]float64
	unsure             int // right all the same
	met                int // pairs that were held against each other
}

// takesOf lists a document's takes by clip and sound.
func takesOf(doc *shoot.Document) map[[2]string]*shoot.Take {
	takes := map[[2]string]*shoot.Take{}
	for i := range doc.Takes {
		takes[[2]string{doc.Takes[i].Clip, doc.Takes[i].Sound}] = &doc.Takes[i]
	}
	return takes
}

// enter compares what was found with the truth of a day, and takes its takes
// out of takes.
func (t *tally) enter(d day, takes map[[2]string]*shoot.Take, alone []shoot.Alone) {
	seed, sc, w := d.seed, d.scene, d.written
	together := map[string]bool{}
	for _, p := range w.Truth {
		key := [2]string{w.Clips[p.Clip], w.Sounds[p.Sound]}
		take := takes[key]
		delete(takes, key)
		if !p.Together() {
			if take != nil {
				t.stranger(seed, take)
			}
			continue
		}
		together[key[0]], together[key[1]] = true, true
		t.pair(seed, sc, p, take)
	}
	isAlone := map[string]bool{}
	for _, a := range alone {
		isAlone[a.Path] = true
	}
	for _, path := range append(append([]string{}, w.Clips...), w.Sounds...) {
		if !together[path] {
			t.alone++
			if isAlone[path] {
				t.aloneRight++
			}
		}
	}
}

func (t *tally) stranger(seed uint64, take *shoot.Take) {
	t.wrong++
	if take.Verdict == shoot.Sure {
		t.wrongSure++
	}
	t.lines = append(t.lines, fmt.Sprintf("seed %d WRONG %s with %s, %s: %v", seed, take.Clip, take.Sound, take.Verdict, take.Why))
}

func (t *tally) pair(seed uint64, sc *scene.Scene, p scene.Pair, take *shoot.Take) {
	covered := p.To - p.From
	counts := p.Speech >= leastTalk
	if counts {
		t.pairs++
		if covered >= longTake {
			t.long++
		}
	}
	name := fmt.Sprintf("seed %d %s with %s, %.0f s, %.0f s of talk, SNR %.0f", seed, sc.Clips[p.Clip].Name, sc.Sounds[p.Sound].Name, covered, p.Speech, sc.Clips[p.Clip].SNR)
	if take == nil {
		t.lines = append(t.lines, name+": not found")
		return
	}
	truth := align.Alignment{Offset: p.Offset, Drift: p.Drift}
	found := align.Alignment{Offset: take.Offset, Drift: take.Drift * 1e-6}
	errorAt := func(at float64) float64 { return (found.Sound(at) - truth.Sound(at)) * 1e3 }
	mid := errorAt((p.From + p.To) / 2)
	worst := math.Max(math.Abs(errorAt(p.From)), math.Abs(errorAt(p.To)))
	room := "none"
	if r := sc.Clips[p.Clip].Paths[0].Room; r != nil {
		room = r.Name
	}
	t.lines = append(t.lines, fmt.Sprintf("%s, %s: %s, middle %+.4f ms, worst %.4f ms, drift %+.2f ppm (%s)", name, room, take.Verdict, mid, worst, take.Drift-p.Drift*1e6, take.DriftFrom))
	if worst > wrongBy*microMilli {
		t.stranger(seed, take)
		return
	}
	if counts {
		t.found++
	}
	if take.Verdict != shoot.Sure {
		t.unsure++
		return
	}
	if counts {
		t.sure++
		if covered >= longTake {
			t.longSure++
		}
	}
	t.mid, t.worst = append(t.mid, math.Abs(mid)), append(t.worst, worst)
	t.rooms[room] = append(t.rooms[room], math.Abs(mid))
	if covered >= longDrift {
		t.drift = append(t.drift, math.Abs(take.Drift-p.Drift*1e6))
	}
	if e := math.Abs(errorAt(0)) * 1e-3; e <= take.OffsetSigma {
		t.within1++
		t.within2++
	} else if e <= 2*take.OffsetSigma {
		t.within2++
	}
}

func (t *tally) print(w io.Writer, format string) {
	fmt.Fprintf(w, "recorder format                                    %s\n", format)
	fmt.Fprintf(w, "pairs with at least %.0f s of talk in common         %d, found %d, sure %d\n", leastTalk, t.pairs, t.found, t.sure)
	fmt.Fprintf(w, "  of 20 s and more                                 %d, sure %d (%.2f %%)\n", t.long, t.longSure, 100*float64(t.longSure)/float64(max(1, t.long)))
	fmt.Fprintf(w, "clips held against sounds                          %d times\n", t.met)
	fmt.Fprintf(w, "wrong sure                                         %d (wrong at all: %d)\n", t.wrongSure, t.wrong)
	fmt.Fprintf(w, "recordings that belong to none                     %d, reported alone %d\n", t.alone, t.aloneRight)
	fmt.Fprintf(w, "offset error in the middle, ms                     median %.4f, 95 %% %.4f, worst %.4f\n", dsp.Quantile(t.mid, 0.5), dsp.Quantile(t.mid, 0.95), dsp.Quantile(t.mid, 1))
	fmt.Fprintf(w, "greatest error along the take, ms                  median %.4f, 95 %% %.4f, worst %.4f\n", dsp.Quantile(t.worst, 0.5), dsp.Quantile(t.worst, 0.95), dsp.Quantile(t.worst, 1))
	fmt.Fprintf(w, "drift error over 5 min, ppm                        median %.3f, worst %.3f of %d\n", dsp.Quantile(t.drift, 0.5), dsp.Quantile(t.drift, 1), len(t.drift))
	fmt.Fprintf(w, "offset at clip time 0 within 1, 2 sigma            %.0f %%, %.0f %%\n", share(t.within1, len(t.mid)), share(t.within2, len(t.mid)))
	names := make([]string, 0, len(t.rooms))
	for n := range t.rooms {
		names = append(names, n)
	}
	sort.Strings(names)
	for _, n := range names {
		fmt.Fprintf(w, "  %-16s %3d takes, error in the middle, ms   median %.4f, worst %.4f\n", n, len(t.rooms[n]), dsp.Quantile(t.rooms[n], 0.5), dsp.Quantile(t.rooms[n], 1))
	}
}

func share(n, of int) float64 { return 100 * float64(n) / float64(max(1, of)) }
