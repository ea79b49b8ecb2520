package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime/pprof"

	"earshot/internal/app"
	"earshot/internal/media/ffmpeg"
	"earshot/internal/store"
)

// profile pairs or marries the shoot in this process, under a CPU profile; the
// media engine runs in processes of its own and is not in it.
func (b *bench) profile(ctx context.Context, command string) error {
	for _, e := range b.engines {
		if err := b.profileWith(ctx, e, command); err != nil {
			return err
		}
	}
	return nil
}

func (b *bench) profileWith(ctx context.Context, choice, command string) error {
	engine, err := ffmpeg.Open(ffmpeg.Options{Choice: choice, CacheDir: b.cache(choice)})
	if err != nil {
		return err
	}
	defer engine.Close()
	a := &app.App{Engine: engine, Cache: store.Open(b.cache(choice), store.DefaultLimit)}
	pair := func() error {
		_, err := a.Pair(ctx, app.PairOptions{Paths: []string{b.made.shoot}})
		return err
	}
	to := filepath.Join(b.dir, "married")
	defer os.RemoveAll(to)
	work := pair
	switch command {
	case "pair":
		err = b.forget(choice)
	case "marry":
		err = pair()
		work = func() error {
			_, err := a.Marry(ctx, app.MarryOptions{Paths: []string{b.made.shoot}, To: to, Again: true})
			return err
		}
	default:
		err = fmt.Errorf("there is no profile of %q", command)
	}
	if err != nil {
		return err
	}
	path := filepath.Join(b.dir, command+"-"+choice+".prof")
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer f.Close()
	if err := pprof.StartCPUProfile(f); err != nil {
		return err
	}
	err = work()
	pprof.StopCPUProfile()
	if err != nil {
		return err
	}
	fmt.Printf("go tool pprof -top %s\n", path)
	return nil
}
