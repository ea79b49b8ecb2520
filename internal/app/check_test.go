package app

import (
	"context"
	"io"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"earshot/internal/dsp"
	"earshot/internal/media"
	"earshot/internal/media/mediatest"
)

// A crooked engine writes finished clips wrong.
type crooked struct {
	*mediatest.Fake
	good, scratch int // samples by which it lays them late
}

func (c *crooked) Render(ctx context.Context, plan media.Plan, sound io.Reader) error {
	if err := c.Fake.Render(ctx, plan, sound); err != nil {
		return err
	}
	info, err := c.Probe(ctx, plan.Out)
	if err != nil {
		return err
	}
	f := mediatest.File{Info: info}
	for i := range info.Sounds {
		late := c.good
		if i > 0 {
			late = c.scratch
		}
		samples := make([]float32, late*info.Sounds[i].Channels)
		err := c.Decode(ctx, media.Decode{Path: plan.Out, Stream: i}, func(block []float32) error {
			samples = append(samples, block...)
			return nil
		})
		if err != nil {
			return err
		}
		f.Sounds = append(f.Sounds, samples)
	}
	return mediatest.Write(plan.Out, f)
}

// What came out wrong is not kept: no file under a final name, and the words
// say what was wrong.
func TestCrookedClipsAreNotKept(t *testing.T) {
	for _, tt := range []struct {
		name          string
		good, scratch int
		want          string
	}{
		{"straight", 0, 0, ""},
		{"good sound 40 ms late", 1920, 0, "the good sound came out 40.0 ms late"},
		{"scratch 10 ms late", 0, 160, "the scratch came out 10.0 ms late"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			a, fake := newApp(t)
			a.Engine = &crooked{fake, tt.good, tt.scratch}
			dir, to := t.TempDir(), t.TempDir()
			l := lesson()
			writeFake(t, filepath.Join(dir, "C1.MP4"), mediatest.Clip(picture, dsp.ProxyRate, 1, time.Time{}, l.clips[0], nil))
			writeFake(t, filepath.Join(dir, "r1.wav"), mediatest.Sound(dsp.ProxyRate, 1, time.Time{}, l.sounds[0]))
			result, err := a.Marry(context.Background(), MarryOptions{Paths: []string{dir}, To: to})
			if err != nil {
				t.Fatal(err)
			}
			c := result.Clips[0]
			clips, _ := filepath.Glob(filepath.Join(to, "*.mov"))
			if tt.want == "" {
				if c.State != Written || len(clips) != 1 {
					t.Errorf("%s %s, %d clips, want one written", c.State, c.Error, len(clips))
				}
				return
			}
			if c.State != Broken || !strings.Contains(c.Error, tt.want) || len(clips) != 0 {
				t.Errorf("%s %q, %d clips, want it failed with %q and no clip", c.State, c.Error, len(clips), tt.want)
			}
		})
	}
}
