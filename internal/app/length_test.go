//go:build !race

package app

import (
	"context"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"earshot/internal/dsp"
	"earshot/internal/media"
	"earshot/internal/media/mediatest"
	"earshot/internal/store"
)

// An endless engine has one sound, made block by block while it is read, and
// looks at the heap on the way.
type endless struct {
	mediatest.Fake
	seconds float64
	most    uint64 // bytes of heap in use, seen every few minutes of sound
}

func (e *endless) Probe(context.Context, string) (media.Info, error) {
	return media.Info{Container: "wav", Duration: e.seconds,
		Sounds: []media.Sound{{Codec: "pcm_s16le", Rate: 48000, Channels: 1, Duration: e.seconds}}}, nil
}

func (e *endless) Decode(ctx context.Context, req media.Decode, fn func([]float32) error) error {
	rng := rand.New(rand.NewPCG(1, 1))
	block := make([]float32, 8192)
	for i := range block {
		block[i] = 0.1 * (rng.Float32() - 0.5)
	}
	left := int(e.seconds * dsp.ProxyRate)
	for n := 0; left > 0; n++ {
		if n%600 == 599 { // every five minutes
			e.look()
		}
		block[n%len(block)] = 0.9 // now and then something sharp
		part := block[:min(left, len(block))]
		if err := fn(part); err != nil {
			return err
		}
		block[n%len(block)] = 0.01
		left -= len(part)
	}
	return nil
}

func (e *endless) look() {
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	e.most = max(e.most, m.HeapInuse)
}

// Reading ten hours takes no more memory than reading ten minutes.
func TestMemoryDoesNotGrowWithLength(t *testing.T) {
	if testing.Short() {
		t.Skip("reads ten hours of sound")
	}
	read := func(hours float64) uint64 {
		e := &endless{seconds: hours * 3600}
		a := &App{Engine: e, Cache: store.Open(t.TempDir(), store.DefaultLimit)}
		path := filepath.Join(t.TempDir(), "long.wav")
		if err := os.WriteFile(path, []byte("long"), 0o644); err != nil {
			t.Fatal(err)
		}
		rec, err := (&reader{app: a, tell: newTeller(nil)}).read(context.Background(), path)
		if err != nil {
			t.Fatal(err)
		}
		if got := rec.tracks[0].Samples; got != int(e.seconds*dsp.ProxyRate) {
			t.Errorf("%d samples of %g hours", got, hours)
		}
		t.Logf("%g hours: %.1f MB of heap, %d rows, %d onsets", hours, float64(e.most)/1e6, rec.tracks[0].Rows, len(rec.tracks[0].Onsets))
		return e.most
	}
	short, long := read(1.0/6), read(10)
	if most := short + 2<<20; long > most {
		t.Errorf("ten hours take %.1f MB of heap, ten minutes %.1f; want %.1f at most", float64(long)/1e6, float64(short)/1e6, float64(most)/1e6)
	}
}
