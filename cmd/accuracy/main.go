// Accuracy measures how exact takes are lined up when one thing at a time is
// made hard: noise, room, length, drift, devices. Every cell of its table is a
// number of couples of one clip and one sound with known truth, paired as the
// program would; beside it stand plainer ways of doing the same, on the same
// samples. It serves those who work on Earshot.
//
//	go run ./cmd/accuracy -couples 20
//	go run ./cmd/accuracy -quick
//	go run ./cmd/accuracy -day 3     # days of two cameras and three recorders
//	go run ./cmd/accuracy -whose 12  # whose body mic is whose
//
// With -quick, which takes two minutes or so, it fails when a couple is laid wrong
// and called sure, or when a cell finds less than it is known to find; the plainer
// ways are left out.
package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"regexp"
	"runtime"
	"sync"

	"earshot/internal/scene"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "accuracy:", err)
		os.Exit(1)
	}
}

// An order is what to measure.
type order struct {
	couples int
	seed    uint64
	only    *regexp.Regexp
	quick   bool
	ours    bool
	docs    string
	days    int
	whose   int
	losses  int
	clean   int
	walks   int
	wrong   int    // heaps of each kind
	list    string // a file for every meeting's figures
	tell    bool   // of every couple that is not sure and right
}

func run(ctx context.Context) error {
	var o order
	flag.IntVar(&o.couples, "couples", 10, "how many couples there are in a cell")
	flag.Uint64Var(&o.seed, "seed", 1, "the first couple's seed; the others follow")
	only := flag.String("cells", "", "measure the cells whose name matches this `pattern`, and not the bound")
	flag.BoolVar(&o.quick, "quick", false, "few couples of the short cells, without the plainer ways; fail when they come out worse than known")
	flag.BoolVar(&o.ours, "ours", false, "leave the plainer ways out, for more couples in the same time, and say where sigmas do not cover")
	flag.StringVar(&o.docs, "docs", "", "write the tables and the picture into this `folder`")
	flag.IntVar(&o.days, "day", 0, "make so many days of two cameras and three recorders, and nothing else")
	flag.IntVar(&o.whose, "whose", 0, "make so many couples of two talkers, and nothing else")
	flag.IntVar(&o.losses, "losses", 0, "measure so many `takes` with lost samples, as many without and a few with bent clocks, and nothing else")
	flag.IntVar(&o.clean, "clean", 0, "with -losses, measure so many `takes` without lost samples, if that is more")
	flag.IntVar(&o.walks, "walks", 0, "with -losses, measure so many `takes` with a talker who walks, too")
	flag.IntVar(&o.wrong, "wrong", 0, "pair so many `heaps` of each kind of likeness instead, and count wrong pairs")
	flag.StringVar(&o.list, "list", "", "with -wrong, write every meeting's figures into this `file`")
	flag.BoolVar(&o.tell, "tell", false, "say of every couple that is not found sure and right what became of it")
	flag.Parse()
	if o.days > 0 || o.whose > 0 {
		return o.manyDevices(ctx)
	}
	var err error
	if o.only, err = regexp.Compile(*only); err != nil {
		return fmt.Errorf("read -cells: %w", err)
	}
	if o.losses > 0 {
		return o.lossTable(ctx)
	}
	if o.wrong > 0 {
		return o.measureWrong(ctx)
	}
	if o.quick {
		o.couples, o.ours = quickCouples, true
	}
	var cells, rows bytes.Buffer
	t, err := o.measure(ctx, io.MultiWriter(os.Stdout, &cells))
	if err != nil {
		return err
	}
	if o.quick {
		return t.worseThanKnown()
	}
	if o.ours && o.docs != "" {
		return writeParts(o.docs, map[string]string{"coverage": cells.String()})
	}
	if *only != "" {
		return nil
	}
	fmt.Println()
	spreads, err := boundTable(io.MultiWriter(os.Stdout, &rows), boundRuns)
	if err != nil || o.docs == "" {
		return err
	}
	return writeDocs(o.docs, cells.String(), rows.String(), spreads)
}

// boundRuns is how often each ratio is measured against the bound.
const boundRuns = 100

// measure measures the cells asked for and prints them.
func (o *order) measure(ctx context.Context, w io.Writer) (*table, error) {
	r, err := newRig()
	if err != nil {
		return nil, err
	}
	r.ours = o.ours
	t := &table{ours: o.ours}
	t.head(w)
	for _, c := range cells(r.rooms) {
		if !o.only.MatchString(c.name) || o.quick && (c.slow || c.couple.Length > quickLength) {
			continue
		}
		row, err := r.measure(ctx, c, o.seed, o.couples)
		if err != nil {
			return nil, fmt.Errorf("cell %q: %w", c.name, err)
		}
		t.add(w, row)
		if o.tell {
			row.tell(o.seed)
		}
	}
	t.sum(w)
	return t, nil
}

// A rig makes couples and measures them.
type rig struct {
	phrases []*scene.Excerpt
	rooms   []*scene.Response
	ours    bool              // measure no other way
	heard   []*scene.Response // rooms of heaps: measured and simulated ones
}

func newRig() (*rig, error) {
	phrases, err := scene.Phrases()
	if err != nil {
		return nil, err
	}
	rooms, err := scene.Rooms()
	return &rig{phrases: phrases, rooms: rooms}, err
}

// measure makes and measures the couples of a cell, as many at once as there
// are cores.
func (r *rig) measure(ctx context.Context, c cell, seed uint64, n int) (*row, error) {
	out := &row{cell: c, results: make([]result, n)}
	failed := make([]error, n)
	next := make(chan int)
	var group sync.WaitGroup
	for range runtime.NumCPU() {
		group.Go(func() {
			for i := range next {
				out.results[i], failed[i] = r.one(ctx, c.made(seed+uint64(i), r.rooms), c.codec)
			}
		})
	}
	for i := range n {
		if ctx.Err() != nil {
			break
		}
		next <- i
	}
	close(next)
	group.Wait()
	return out, errors.Join(append(failed, ctx.Err())...)
}
