package app

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"

	"earshot/internal/fault"
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

// Doctor looks at the engine, the cache and the way between them: it makes a
// second of tone, reads it back and compares.
func (a *App) Doctor(ctx context.Context) (*Health, error) {
	h := &Health{CacheDir: a.Cache.Dir(), CacheUse: a.Cache.Use(), CacheMax: a.Cache.Limit()}
	about, err := a.Engine.About(ctx)
	h.Engine = about
	h.check("media engine", err, fmt.Sprintf("%s, %s, %s", about.Name, about.Version, about.Licence))
	h.check("cache", a.tryCache(), fmt.Sprintf("%s can be written to", a.Cache.Dir()))
	h.check("reading and writing", a.tryEngine(ctx), "a tone came back as it went out")
	return h, ctx.Err()
}

func (h *Health) check(name string, err error, said string) {
	c := HealthCheck{Name: name, OK: err == nil, Said: said}
	if err != nil {
		c.Said, c.Hint = err.Error(), fault.HintOf(err)
	}
	h.Checks = append(h.Checks, c)
}

func (a *App) tryCache() error {
	const id, name = "00doctor", "try.json"
	if err := a.Cache.Save(id, name, 1); err != nil {
		return err
	}
	var back int
	if !a.Cache.Load(id, name, &back) || back != 1 {
		return &fault.Error{Kind: fault.Unwritable, Op: "read back from the cache", Subject: a.Cache.Dir(),
			Err: fmt.Errorf("it does not hold what was written"), Hint: "set EARSHOT_CACHE to a folder on a sound disk"}
	}
	return nil
}

// tryEngine sends a tone through the engine and back.
func (a *App) tryEngine(ctx context.Context) error {
	dir, err := os.MkdirTemp("", "earshot-doctor-")
	if err != nil {
		return &fault.Error{Kind: fault.Unwritable, Op: "make a folder for a trial", Err: err, Hint: "see that the system's folder for passing files can be written to"}
	}
	defer os.RemoveAll(dir)
	const rate, seconds = 48000, 1
	tone := make([]float32, rate*seconds)
	for i := range tone {
		tone[i] = float32(0.5 * math.Sin(2*math.Pi*440*float64(i)/rate))
	}
	path := filepath.Join(dir, "tone.wav")
	enc := media.Encode{Out: path, Sound: &media.EncodeSound{Codec: "pcm_s16le", Rate: rate, Channels: 1, Samples: newSampleReader(tone)}}
	if err := a.Engine.Encode(ctx, enc); err != nil {
		return err
	}
	n, worst := 0, 0.0
	err = a.Engine.Decode(ctx, media.Decode{Path: path}, func(block []float32) error {
		for _, v := range block {
			if n < len(tone) {
				worst = math.Max(worst, math.Abs(float64(v-tone[n])))
			}
			n++
		}
		return nil
	})
	if err == nil && (n != len(tone) || worst > 1.0/16384) {
		err = &fault.Error{Kind: fault.Engine, Op: "read back a tone", Err: fmt.Errorf("%d samples of %d, off by up to %g", n, len(tone), worst),
			Hint: "try --engine embedded"}
	}
	return err
}
