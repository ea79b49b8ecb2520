package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"earshot/internal/scene"
)

// memory measures the peak memory of the program and the processes it starts,
// together, for a recording of ten minutes and for a long one.
func (b *bench) memory(ctx context.Context) error {
	if _, err := os.Stat("/proc/self/smaps_rollup"); err != nil {
		b.sheet.head("memory is not measured: this system does not tell (" + err.Error() + ")")
		return nil
	}
	b.sheet.head(fmt.Sprintf("memory: ten minutes, and %v (marrying: %v)", b.long, min(b.long, time.Hour)))
	short, long, err := b.lengths(ctx, 10*time.Minute)
	if err != nil {
		return err
	}
	_, longer, err := b.lengths(ctx, min(b.long, time.Hour))
	if err != nil {
		return err
	}
	_, longest, err := b.lengths(ctx, b.long)
	if err != nil {
		return err
	}
	for _, e := range b.engines {
		for _, c := range []struct {
			command, what string
			short, long   []string
			most          float64
		}{
			{"pair", "WAV", []string{short.clip, long.wav}, []string{short.clip, longest.wav}, mostGrowth},
			// The engine keeps in memory a line for each packet of a movie, read or
			// written: some 10 MB an hour.
			{"pair", "M4A", []string{short.clip, long.sound}, []string{short.clip, longest.sound}, 0},
			{"marry", "M4A", []string{long.clip, long.sound}, []string{longer.clip, longer.sound}, 0},
		} {
			if err := b.peaks(ctx, e, c.command, c.what, c.short, c.long, c.most); err != nil {
				return err
			}
		}
	}
	return nil
}

// A couple is a clip and a sound that heard the same, the sound in two forms.
type couple struct{ clip, sound, wav string }

// lengths returns the plain clip and, as made from it over and over, a clip
// and a sound of the given length.
func (b *bench) lengths(ctx context.Context, length time.Duration) (plain, long couple, err error) {
	plain.clip = b.made.plain
	base := filepath.Join(b.dir, "length", length.String())
	long = couple{base + "-clip.mp4", base + "-sound.m4a", base + "-sound.wav"}
	err = scene.Once(long.clip, func() error {
		return tool(ctx, "-stream_loop", "-1", "-i", plain.clip, "-t", fmt.Sprint(length.Seconds()), "-c", "copy", long.clip)
	})
	if err == nil {
		err = scene.Once(long.sound, func() error { return tool(ctx, "-i", long.clip, "-vn", "-c", "copy", long.sound) })
	}
	if err == nil {
		err = scene.Once(long.wav, func() error { return tool(ctx, "-i", long.clip, "-vn", "-ac", "1", "-ar", "16000", long.wav) })
	}
	return plain, long, err
}

// peaks compares a command's memory for short and long material: the greatest
// of some runs each. most is how much it may grow, 0 asks for nothing; growth is
// of the processes' own peaks, which the system keeps and no look can miss.
func (b *bench) peaks(ctx context.Context, engine, command, form string, short, long []string, most float64) error {
	var least peak
	for i, files := range [][]string{short, long} {
		var p peak
		for range b.rounds {
			now, err := b.watchOne(ctx, engine, command, files)
			if err != nil {
				return fmt.Errorf("%s: %w", command, err)
			}
			p.pss, p.hwm = max(p.pss, now.pss), max(p.hwm, now.hwm)
		}
		what := command + " " + form + [2]string{", short", ", long"}[i]
		b.sheet.figure(engine, what+", peak of what is in use", p.pss, mostMemory, "MB")
		b.sheet.figure(engine, what+", sum of each process's own peak", p.hwm, mostMemory, "MB")
		if i == 0 {
			least = p
			continue
		}
		grown := p.hwm / least.hwm
		b.sheet.line(engine, command+" "+form+", own peaks, long / short", fmt.Sprintf("%7.2f", grown), grown, most, "")
	}
	return nil
}

// watchOne runs a command on files with nothing remembered.
func (b *bench) watchOne(ctx context.Context, engine, command string, files []string) (peak, error) {
	if err := b.forget(engine); err != nil {
		return peak{}, err
	}
	args := append([]string{command}, files...)
	if command == "marry" {
		to := filepath.Join(b.dir, "married")
		os.RemoveAll(to)
		defer os.RemoveAll(to)
		args = append(args, "--to", to, "--also", "unsure")
	}
	return watch(exec.CommandContext(ctx, b.earshot, b.args(engine, args...)...))
}

// A peak is memory in MB (10^6 bytes): the greatest sum seen of the
// processes' proportional set sizes, in which shared pages count once, and the
// greatest sum of their own greatest resident sizes.
type peak struct{ pss, hwm float64 }

// watch runs a command and looks at it and all its descendants every 20 ms.
func watch(cmd *exec.Cmd) (p peak, err error) {
	var said strings.Builder
	cmd.Stderr = &said
	if err := cmd.Start(); err != nil {
		return p, err
	}
	done := make(chan error, 1)
	go func() { done <- cmd.Wait() }()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case err := <-done:
			if s := cmd.ProcessState.ExitCode(); s == 0 || s == 3 {
				return p, nil
			}
			return p, fmt.Errorf("%w\n%s", err, said.String())
		case <-tick.C:
		}
		var now peak
		for _, pid := range family(strconv.Itoa(cmd.Process.Pid)) {
			now.pss += kilobytes("/proc/"+pid+"/smaps_rollup", "Pss:") * 1024 / 1e6
			now.hwm += kilobytes("/proc/"+pid+"/status", "VmHWM:") * 1024 / 1e6
		}
		p.pss, p.hwm = max(p.pss, now.pss), max(p.hwm, now.hwm)
	}
}

// family is a process and all below it.
func family(pid string) []string {
	out := []string{pid}
	tasks, _ := filepath.Glob("/proc/" + pid + "/task/*/children")
	for _, t := range tasks {
		b, _ := os.ReadFile(t) // it may have ended meanwhile
		for _, child := range strings.Fields(string(b)) {
			out = append(out, family(child)...)
		}
	}
	return out
}

// kilobytes reads one value of a status file of the system, 0 when the process
// has ended.
func kilobytes(path, key string) float64 {
	b, _ := os.ReadFile(path)
	for line := range strings.Lines(string(b)) {
		if rest, ok := strings.CutPrefix(line, key); ok {
			v, _ := strconv.ParseFloat(strings.Fields(rest)[0], 64)
			return v
		}
	}
	return 0
}
