package app

import (
	"context"

	"earshot/internal/media"
)

// Health is what doctor found.
type Health struct {
	Version  string        `json:"version"`
	Engine   media.About   `json:"engine"`
	Passed   []media.About `json:"engines_passed_over,omitempty"` // with the reason in Notes
	CacheDir string        `json:"cache_dir"`
	CacheUse int64         `json:"cache_bytes"`
	CacheMax int64         `json:"cache_limit_bytes"`
	Checks   []HealthCheck `json:"checks"`
}

// A HealthCheck is one thing looked at.
type HealthCheck struct {
	Name string `json:"name"`
	OK   bool   `json:"ok"`
	Said string `json:"said"`
	Hint string `json:"hint,omitempty"`
}

// Doctor looks at the engine, the caches and the machine.
func (a *App) Doctor(ctx context.Context) (*Health, error) {
	panic("being written")
}
