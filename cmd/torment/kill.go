package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// How long the engine's processes may outlive the program that was killed.
const orphans = 5 * time.Second

// killing marries the shoot once undisturbed, and then again and again: killed
// at an instant somewhere in the run, looked at, run to the end, looked at.
func (r *rig) killing(ctx context.Context) error {
	before, err := look(r.day)
	if err != nil {
		return err
	}
	want, cold, warm, err := r.undisturbed(ctx)
	if err != nil {
		return err
	}
	r.say("%s: undisturbed, a run takes %v, with the cache filled %v, and writes %d files", r.engine, cold.Round(time.Millisecond), warm.Round(time.Millisecond), len(want))
	var seen struct{ killed, whole, part int }
	var longest time.Duration
	for i := range r.kills {
		k := r.newKill(i, cold, warm)
		if err := r.prepare(k); err != nil {
			return err
		}
		died, lasted, err := r.kill(ctx, k)
		if err != nil {
			return err
		}
		if !died && k.how == "cold" { // it was faster than thought: draw within that
			cold = min(cold, k.at)
		} else if !died {
			warm = min(warm, k.at)
		}
		longest = max(longest, lasted)
		whole, parts := r.afterKill(k, want)
		if died {
			seen.killed++
		}
		seen.whole, seen.part = seen.whole+whole, seen.part+parts
		if err := r.afterNext(ctx, k, want); err != nil {
			return err
		}
		after, err := look(r.day)
		if err != nil {
			return err
		}
		r.unchanged(k.String(), before, after)
		if !strings.HasSuffix(k.how, "again") {
			os.RemoveAll(k.out)
		}
	}
	r.say("%s: %d of %d runs were killed before their end; %d finished clips and %d part files stood there then; the engine's processes outlived the program by at most %v",
		r.engine, seen.killed, r.kills, seen.whole, seen.part, longest.Round(time.Millisecond))
	return nil
}

// undisturbed returns what a run writes that nobody kills, and how long it
// takes with the derived data to make and with them at hand.
func (r *rig) undisturbed(ctx context.Context) (want picture, cold, warm time.Duration, err error) {
	for i, took := range []*time.Duration{&warm, &cold, &warm} { // the first one prepares the engine
		if i == 1 {
			os.RemoveAll(filepath.Join(r.cache(), "recordings"))
		}
		out := filepath.Join(r.dir, fmt.Sprintf("undisturbed-%d", i))
		res, err := r.run(ctx, 5*time.Minute, "marry", r.day, "--to", out)
		if err != nil {
			return nil, 0, 0, err
		}
		*took = res.took
		if res.status != 0 {
			return nil, 0, 0, fmt.Errorf("an undisturbed run ends with status %d:\n%s%s", res.status, res.out, res.err)
		}
		got, err := look(out)
		if err != nil {
			return nil, 0, 0, err
		}
		if want != nil {
			r.same(fmt.Sprintf("undisturbed run %d", i), out, got, want)
		}
		want = got
		os.RemoveAll(out)
	}
	if len(want) != 5 {
		return nil, 0, 0, fmt.Errorf("an undisturbed run writes %v, not three clips and two reports", want)
	}
	return want, cold, warm, nil
}

// A kill is one run to be killed.
type kill struct {
	n   int
	how string // what the run finds: "cold", "warm" or "warm, again"
	at  time.Duration
	out string
}

func (k kill) String() string { return fmt.Sprintf("kill %d (%s, after %v)", k.n, k.how, k.at) }

// newKill spreads the instants over the runs.
func (r *rig) newKill(i int, cold, warm time.Duration) kill {
	k := kill{n: i + 1, how: "cold", out: filepath.Join(r.dir, "out")}
	long := cold
	switch i % 4 {
	case 1, 2:
		k.how, long = "warm", warm
	case 3:
		k.how, long = "warm, again", warm
	}
	if r.engine == "embedded" && i%16 == 0 {
		k.how, long = "engine to be prepared", cold+6*time.Second
	}
	k.at = time.Duration((float64(i) + r.rng.Float64()) / float64(r.kills) * float64(long) * 1.05)
	return k
}

// prepare brings cache and target into the state the run is to find.
func (r *rig) prepare(k kill) error {
	switch k.how {
	case "cold":
		return os.RemoveAll(filepath.Join(r.cache(), "recordings"))
	case "engine to be prepared":
		return os.RemoveAll(r.cache())
	}
	return nil
}

// kill starts a run and kills it: that process alone, as the system would for
// want of memory.
func (r *rig) kill(ctx context.Context, k kill) (died bool, lasted time.Duration, err error) {
	args := []string{"marry", r.day, "--to", k.out}
	if k.how == "warm, again" {
		if res, err := r.run(ctx, 5*time.Minute, args...); err != nil || res.status != 0 {
			return false, 0, fmt.Errorf("run before %v: status %d, %w\n%s", k, res.status, err, res.err)
		}
		args = append(args, "--again")
	}
	cmd, mark := r.command(args...)
	if err := cmd.Start(); err != nil {
		return false, 0, err
	}
	select {
	case <-time.After(k.at):
	case <-ctx.Done():
	}
	died = cmd.Process.Kill() == nil
	_ = cmd.Wait()
	died = died && !cmd.ProcessState.Exited()
	most := orphans
	if k.how == "engine to be prepared" {
		most = 15 * time.Second // what was begun is finished, for the next run
	}
	lasted, ok := gone(mark, most)
	if !ok {
		r.wrong("%v: its processes %v still run %v later", k, marked(mark), lasted)
	}
	if k.how == "engine to be prepared" {
		lasted = 0
	}
	return died, lasted, ctx.Err()
}

const partMark = ".earshot-"

// afterKill looks at what a killed run left: files under their final names
// must be whole.
func (r *rig) afterKill(k kill, want picture) (whole, parts int) {
	got, err := look(k.out)
	if err != nil {
		r.wrong("%v: %v", k, err)
	}
	final := picture{}
	for name, s := range got {
		if strings.HasPrefix(name, partMark) {
			parts++
			continue
		}
		final[name] = s
		if !strings.HasPrefix(name, "report.") {
			whole++
		}
	}
	r.equal(k.String()+", just after", k.out, final, want)
	return whole, parts
}

// afterNext runs to the end and wants what an undisturbed run leaves.
func (r *rig) afterNext(ctx context.Context, k kill, want picture) error {
	res, err := r.run(ctx, 5*time.Minute, "marry", r.day, "--to", k.out, "--json")
	if err != nil {
		return err
	}
	if res.status != 0 {
		r.wrong("%v: the next run ends with status %d: %s", k, res.status, res.err)
	}
	var doc struct{ Clips []struct{ Out, State string } }
	if err := json.Unmarshal([]byte(res.out), &doc); err != nil || len(doc.Clips) != 3 {
		r.wrong("%v: the next run prints %v, %q", k, err, res.out)
	}
	for _, c := range doc.Clips {
		if c.State != "written" && c.State != "kept" {
			r.wrong("%v: the next run says %s is %s", k, c.Out, c.State)
		}
	}
	got, err := look(k.out)
	if err != nil {
		return err
	}
	r.same(k.String()+", after the next run", k.out, got, want)
	if left, _ := os.ReadDir(r.temp()); len(left) > 0 {
		r.wrong("%v: the folder for passing files holds %v", k, left)
	}
	return nil
}

// same wants got to hold the files of want, and nothing else.
func (r *rig) same(when, dir string, got, want picture) {
	r.equal(when, dir, got, want)
	for name := range want {
		if _, ok := got[name]; !ok {
			r.wrong("%s: %s is missing", when, name)
		}
	}
}

// equal wants every file of got to be as in want. Reports hold the time at
// which they were made, so they only have to be whole.
func (r *rig) equal(when, dir string, got, want picture) {
	for name, g := range got {
		w, ok := want[name]
		switch {
		case !ok:
			r.wrong("%s: %s is left behind", when, name)
		case strings.HasPrefix(name, "report."):
			text, err := os.ReadFile(filepath.Join(dir, name))
			if err != nil || !wholeReport(name, text) {
				r.wrong("%s: %s is not whole (%v)", when, name, err)
			}
		case g.size != w.size || g.sum != w.sum:
			r.wrong("%s: %s has %d bytes with sum %.8s, want %d with %.8s", when, name, g.size, g.sum, w.size, w.sum)
		case g.mode != w.mode:
			r.wrong("%s: %s has mode %v, want %v", when, name, g.mode, w.mode)
		}
	}
}

func wholeReport(name string, text []byte) bool {
	if strings.HasSuffix(name, ".json") {
		return json.Valid(text)
	}
	return strings.Contains(string(text), "\nWhat went in:\n") && strings.HasSuffix(string(text), "\n")
}
