package main

import (
	"context"
	"errors"
	"path/filepath"
	"time"

	"earshot/internal/app"
	"earshot/internal/cli"
	"earshot/internal/desk"
	"earshot/internal/store"
	"earshot/internal/web"
)

// serveDesk puts the desk together and serves it until it is closed. Where the
// shoot is open in another run already, that one is given what is to be added.
func serveDesk(ctx context.Context, ask cli.DeskAsk) error {
	cache, err := cacheDir(ask.Settings)
	if err != nil {
		return err
	}
	folder, err := app.ShootFolder(ask.Shoot, ask.Add, time.Now())
	if err != nil {
		return err
	}
	add := make([]string, len(ask.Add))
	for i, p := range ask.Add {
		if add[i], err = filepath.Abs(p); err != nil {
			return err
		}
	}
	if other, found := web.Find(ctx, cache, folder); found {
		return joinDesk(ctx, other, ask, folder, add)
	}
	uses, err := useCases(ask.Settings)
	if err != nil {
		return err
	}
	defer uses.Engine.Close()
	d, err := desk.Open(uses, desk.Options{Folder: folder, Add: add, Version: versionText(), Reveal: web.OpenFolder})
	if err != nil {
		return err
	}
	s, err := web.New(d, web.Options{Port: ask.Port, PageDir: ask.Page, Version: versionText(), CacheDir: cache, Say: ask.Settings.Say})
	if err != nil {
		return errors.Join(err, d.Close())
	}
	ask.Ready(cli.OnDesk{URL: s.URL(), Folder: folder})
	if ask.Open {
		if err := web.OpenBrowser(s.Invite()); err != nil {
			ask.Settings.Say("no browser could be opened: open the address above by hand")
		}
	}
	return errors.Join(s.Serve(ctx), d.Close())
}

// joinDesk adds to the desk that is open already.
func joinDesk(ctx context.Context, other *web.Another, ask cli.DeskAsk, folder string, add []string) error {
	if len(add) > 0 {
		if err := other.Add(ctx, add); err != nil {
			return err
		}
	}
	ask.Ready(cli.OnDesk{URL: other.URL(), Folder: folder, Before: true})
	if !ask.Open {
		return nil
	}
	url, err := other.Invite(ctx)
	if err == nil {
		err = web.OpenBrowser(url)
	}
	if err != nil {
		ask.Settings.Say("no browser could be opened: open the address above by hand")
	}
	return nil
}

// cacheDir is the folder for derived data.
func cacheDir(set cli.Settings) (string, error) {
	if set.Cache != "" {
		return set.Cache, nil
	}
	return store.DefaultDir()
}
