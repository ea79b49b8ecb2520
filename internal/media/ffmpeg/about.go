package ffmpeg

import (
	"context"
	"slices"

	"earshot/internal/media"
	"earshot/internal/media/ffmpeg/module"
)

// About names the engine that runs.
func (e *Engine) About(ctx context.Context) (media.About, error) {
	r, err := e.choose(ctx)
	if err != nil {
		return media.About{}, err
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	a := media.About{Name: r.name(), Version: module.Version, Licence: "GPL-3.0-or-later", Notes: slices.Clone(e.notes)}
	if n, ok := r.(*native); ok {
		a.Version, a.Path = n.version, n.ffmpeg
	}
	return a, nil
}
