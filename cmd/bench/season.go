package main

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"time"

	"earshot/internal/dsp"
	"earshot/internal/frame"
	"earshot/internal/media"
	"earshot/internal/scene"
)

// A season is a shoot of many hours that never happened. Its takes are couples
// of the simulator, each played at many speeds, clip and sound alike, so that
// no two takes match; between the takes of a sound other couples are heard at
// speeds between, as retakes of the same words. One clip in twenty has no
// sound, one sound in twenty no clip.
type season struct {
	dir    string // holds bank, CARD and PHONE
	clips  []seasonClip
	sounds []seasonSound
}

// What a season holds: with 80 sounds, 400 clips and 120 hours of sound in all.
const (
	seasonSounds = 80
	seasonHours  = 120
	soundClips   = 5    // for each sound
	soundLength  = 4230 // seconds
	bankSize     = 24   // couples
	seasonPPM    = 20.0
)

type seasonClip struct {
	path   string
	part   seasonPart
	sound  int     // -1 = none
	offset float64 // seconds
}

type seasonSound struct {
	path  string
	parts []seasonPart
}

// A seasonPart is a couple's clip or sound at a speed.
type seasonPart struct {
	couple int
	clip   bool
	speed  float64
	n      int // samples at dsp.ProxyRate
}

// couple is one of the bank: rooms and noises of all kinds, 150 to 290 s long.
func (s *season) couple(i int) scene.Couple {
	noises := []scene.Noise{scene.Pink, scene.Traffic, scene.Babble, scene.Music}
	return scene.Couple{Seed: uint64(7000 + i), Length: float64(150 + 20*(i%8)), PPM: seasonPPM, Noise: noises[i%4],
		SNR: float64(2 + 3*(i%7)), RT60: 0.3 + 0.1*float64(i%5), DRR: -float64(i % 9), AGC: i%3 == 0}
}

// newSeason lays a season out, and makes its bank and its files where they are
// missing. A file holds its name alone: the engine knows the rest.
func newSeason(dir string) (*season, error) {
	s := &season{dir: dir}
	truth, err := s.bank()
	if err != nil {
		return nil, err
	}
	for k := range seasonSounds {
		rng := rand.New(rand.NewPCG(uint64(k), 3))
		sound := seasonSound{path: filepath.Join(dir, "PHONE", fmt.Sprintf("R%03d.WAV", k))}
		at := 0
		add := func(couple int, speed float64) {
			n := int(float64(truth[couple].Sound) / speed)
			sound.parts = append(sound.parts, seasonPart{couple, false, speed, n})
			at += n
		}
		for j := range soundClips {
			t := k*soundClips + j
			for range 2 {
				add(rng.IntN(bankSize), 0.8125+0.025*float64(rng.IntN(17)))
			}
			b, speed := t%bankSize, 0.8+0.025*float64(t/bankSize)
			clip := seasonClip{path: filepath.Join(dir, "CARD", fmt.Sprintf("C%04d.MP4", t)), sound: -1,
				part: seasonPart{b, true, speed, int(float64(truth[b].Clip) / speed)}}
			if t%20 != 19 && k%20 != 7 {
				clip.sound, clip.offset = k, float64(at)/dsp.ProxyRate+truth[b].Offset/speed
				add(b, speed)
			}
			s.clips = append(s.clips, clip)
		}
		for at < soundLength*dsp.ProxyRate {
			add(rng.IntN(bankSize), 0.8125+0.025*float64(rng.IntN(17)))
		}
		s.sounds = append(s.sounds, sound)
	}
	return s, s.files()
}

func (s *season) files() error {
	var paths []string
	for _, c := range s.clips {
		paths = append(paths, c.path)
	}
	for _, d := range s.sounds {
		paths = append(paths, d.path)
	}
	for _, p := range paths {
		if err := scene.Once(p, func() error { return os.WriteFile(p, []byte(filepath.Base(p)), 0o666) }); err != nil {
			return err
		}
	}
	return nil
}

// A bankTruth is what is known of a couple.
type bankTruth struct {
	Clip, Sound int     // samples
	Offset      float64 // seconds
}

func (s *season) bankPath(i int, clip bool) string {
	return filepath.Join(s.dir, "bank", fmt.Sprintf("%02d-%v.i16", i, map[bool]string{true: "clip", false: "sound"}[clip]))
}

// bank returns what is known of the couples, and renders them, once.
func (s *season) bank() (truth []bankTruth, err error) {
	known := filepath.Join(s.dir, "bank", "truth.json")
	if err := scene.Once(known, func() error { return s.render(known) }); err != nil {
		return nil, err
	}
	b, err := os.ReadFile(known)
	if err != nil {
		return nil, err
	}
	return truth, json.Unmarshal(b, &truth)
}

func (s *season) render(known string) error {
	phrases, err := scene.Phrases()
	if err != nil {
		return err
	}
	truth, errs := make([]bankTruth, bankSize), make([]error, bankSize)
	next := make(chan int)
	var group sync.WaitGroup
	for range runtime.NumCPU() {
		group.Go(func() {
			for i := range next {
				sc := s.couple(i).Scene(phrases)
				clip, sound := sc.Render(&sc.Clips[0], dsp.ProxyRate), sc.Render(&sc.Sounds[0], dsp.ProxyRate)
				truth[i] = bankTruth{len(clip), len(sound), sc.Truth()[0].Offset}
				errs[i] = errors.Join(writeBank(s.bankPath(i, true), clip), writeBank(s.bankPath(i, false), sound))
			}
		})
	}
	for i := range bankSize {
		next <- i
	}
	close(next)
	group.Wait()
	b, err := json.Marshal(truth)
	if err := errors.Join(append(errs, err)...); err != nil {
		return err
	}
	return os.WriteFile(known, b, 0o666)
}

func writeBank(path string, x []float32) error {
	b := make([]byte, 2*len(x))
	for i, v := range x {
		binary.LittleEndian.PutUint16(b[2*i:], uint16(int16(32767*max(-1, min(1, v)))))
	}
	return os.WriteFile(path, b, 0o666)
}

// A seasonEngine decodes a season's files. Of a media.Engine it has what
// pairing asks for.
type seasonEngine struct {
	media.Engine
	season *season
	parts  map[string][]seasonPart
}

func (s *season) engine() *seasonEngine {
	e := &seasonEngine{season: s, parts: map[string][]seasonPart{}}
	for _, c := range s.clips {
		e.parts[c.path] = []seasonPart{c.part}
	}
	for _, d := range s.sounds {
		e.parts[d.path] = d.parts
	}
	return e
}

// Probe says what a camera's or a recorder's file would.
func (e *seasonEngine) Probe(_ context.Context, path string) (media.Info, error) {
	n := 0
	for _, p := range e.parts[path] {
		n += p.n
	}
	info := media.Info{Container: "wav", Duration: float64(n) / dsp.ProxyRate, Created: time.Time{},
		Sounds: []media.Sound{{Codec: "pcm_s16le", Rate: 48000, Channels: 1}}}
	if filepath.Ext(path) == ".MP4" {
		info.Container = "mp4"
		info.Pictures = []media.Picture{{Codec: "h264", Width: 1280, Height: 720, Rate: frame.Rate{Num: 25, Den: 1}}}
	}
	return info, nil
}

// Decode plays a file's parts one after another.
func (e *seasonEngine) Decode(ctx context.Context, req media.Decode, fn func([]float32) error) error {
	for _, p := range e.parts[req.Path] {
		raw, err := os.ReadFile(e.season.bankPath(p.couple, p.clip))
		if err != nil {
			return err
		}
		block := make([]float32, 0, 1<<15)
		for i := range p.n {
			block = append(block, between(raw, float64(i)*p.speed))
			if len(block) == cap(block) || i == p.n-1 {
				if err := errors.Join(ctx.Err(), fn(block)); err != nil {
					return err
				}
				block = block[:0]
			}
		}
	}
	return nil
}

// between reads 16-bit samples at a place between them, by the cubic through
// the four nearest (Catmull and Rom 1974).
func between(raw []byte, at float64) float32 {
	i := int(at)
	if i < 1 || 2*i+6 > len(raw) {
		return 0
	}
	var v [4]float32
	for k := range v {
		v[k] = float32(int16(binary.LittleEndian.Uint16(raw[2*(i-1+k):])))
	}
	x := float32(at - float64(i))
	a, b, c := 3*(v[1]-v[2])+v[3]-v[0], 2*v[0]-5*v[1]+4*v[2]-v[3], v[2]-v[0]
	return (v[1] + x/2*(c+x*(b+x*a))) / 32768
}
