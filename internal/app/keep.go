package app

import (
	"context"
	"errors"
	"strconv"

	"earshot/internal/dsp"
	"earshot/internal/match"
	"earshot/internal/store"
)

func sketchName(i int) string { return "sketch-" + strconv.Itoa(i) }
func halfName(i int) string   { return "half-" + strconv.Itoa(i) }
func proxyName(i int) string  { return "proxy-" + strconv.Itoa(i) }

// A keeper writes what is kept of a sound while it is read.
type keeper struct {
	proxy    *store.ProxyWriter
	sketcher *dsp.Sketcher
	sketch   *store.RowsWriter
}

func (r *reader) keep(id store.Identity, stream int) (k *keeper, err error) {
	k = &keeper{sketcher: dsp.NewSketcher()}
	if k.proxy, err = r.app.Cache.CreateProxy(id, proxyName(stream)); err != nil {
		return nil, err
	}
	if k.sketch, err = r.app.Cache.CreateRows(id, sketchName(stream)); err != nil {
		k.proxy.Discard()
		return nil, err
	}
	return k, nil
}

func (k *keeper) write(block []float32) error {
	k.sketcher.Write(block)
	return errors.Join(k.sketch.Write(k.sketcher.Take()), k.proxy.Write(block))
}

// close returns how many samples and rows there are.
func (k *keeper) close() (samples, rows int, err error) {
	if err := k.sketch.Write(k.sketcher.Close()); err != nil {
		k.discard()
		return 0, 0, err
	}
	if samples, err = k.proxy.Close(); err != nil {
		k.sketch.Discard()
		return 0, 0, err
	}
	n, err := k.sketch.Close()
	return samples, int(n / dsp.SketchBands), err
}

func (k *keeper) discard() {
	k.proxy.Discard()
	k.sketch.Discard()
}

// A proxy is what is kept of a track's sound, as an align.Source. What turns out
// damaged while it is read is made anew. It is not for concurrent use.
type proxy struct {
	*store.Proxy
	again func() (*store.Proxy, error)
}

// ReadAt reads as the store's does.
func (p *proxy) ReadAt(dst []float32, at int) error {
	err := p.Proxy.ReadAt(dst, at)
	if !errors.Is(err, store.ErrDamaged) {
		return err
	}
	made, err := p.again()
	if err != nil {
		return err
	}
	p.Proxy.Close()
	p.Proxy = made
	return made.ReadAt(dst, at)
}

// Close closes what is open by then.
func (p *proxy) Close() error { return p.Proxy.Close() }

// openProxy opens a track's proxy.
func (a *App) openProxy(ctx context.Context, r *recording, i int) (*proxy, error) {
	open := func(t track) (*store.Proxy, error) {
		return a.Cache.OpenProxy(r.id, proxyName(i), t.Samples)
	}
	kept, err := anew(ctx, a, r, i, open)
	if err != nil {
		return nil, err
	}
	return &proxy{kept, func() (*store.Proxy, error) { return remade(ctx, a, r, i, open) }}, nil
}

// withProxies calls fn with the proxies of two tracks.
func (a *App) withProxies(ctx context.Context, one, other side, fn func(x, y *proxy) error) error {
	x, err := a.openProxy(ctx, one.rec, one.track)
	if err != nil {
		return err
	}
	defer x.Close()
	y, err := a.openProxy(ctx, other.rec, other.track)
	if err != nil {
		return err
	}
	defer y.Close()
	return fn(x, y)
}

// openSketch opens a track's sketch.
func (a *App) openSketch(ctx context.Context, r *recording, i int) (*store.Rows, error) {
	return anew(ctx, a, r, i, func(t track) (*store.Rows, error) {
		return a.Cache.OpenRows(r.id, sketchName(i), t.Rows, dsp.SketchBands)
	})
}

// openRows opens what a search at a grain reads of a track. Where nothing is kept
// for the half grain, as of what was read long ago, it is made of the sketch.
func (a *App) openRows(ctx context.Context, r *recording, i int, g match.Grain) (*store.Rows, error) {
	if g == match.Whole {
		return a.openSketch(ctx, r, i)
	}
	open := func() (*store.Rows, error) {
		return a.Cache.OpenRows(r.id, halfName(i), match.HalfRows(r.tracks[i].Rows), match.HalfBands)
	}
	kept, err := open()
	if !errors.Is(err, store.ErrDamaged) {
		return kept, err
	}
	sketch, err := a.openSketch(ctx, r, i)
	if err != nil {
		return nil, err
	}
	defer sketch.Close()
	if err := a.halve(r.id, i, sketch); err != nil {
		return nil, err
	}
	return open()
}

// halve keeps what a search at the half grain reads of a track, made of its sketch.
func (a *App) halve(id store.Identity, i int, sketch *store.Rows) error {
	w, err := a.Cache.CreateRows(id, halfName(i))
	if err != nil {
		return err
	}
	if err := match.Halve(sketch, w.Write); err != nil {
		w.Discard()
		return err
	}
	_, err = w.Close()
	return err
}

// anew opens what is kept of track i. What was damaged since it was made, or
// is gone, is made anew.
func anew[T any](ctx context.Context, a *App, r *recording, i int, open func(track) (T, error)) (T, error) {
	kept, err := open(r.tracks[i])
	if !errors.Is(err, store.ErrDamaged) {
		return kept, err
	}
	return remade(ctx, a, r, i, open)
}

// remade makes anew what is kept of track i, and opens it.
func remade[T any](ctx context.Context, a *App, r *recording, i int, open func(track) (T, error)) (none T, err error) {
	t, err := (&reader{app: a, tell: newTeller(nil)}).decode(ctx, r, i)
	if err != nil {
		return none, err
	}
	return open(t)
}
