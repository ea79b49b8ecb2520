package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"time"

	"earshot/internal/align"
	"earshot/internal/app"
	"earshot/internal/dsp"
	"earshot/internal/frame"
	"earshot/internal/media"
	"earshot/internal/media/mediatest"
	"earshot/internal/scene"
	"earshot/internal/store"
)

// dialogues lists the kinds of dialogue that are measured.
func dialogues() []dialogueCell {
	base := scene.Dialogue{Length: 40, Share: 0.6, Apart: 1.4, Near: 1.8, SNR: 15}
	var out []dialogueCell
	add := func(name string, change func(*scene.Dialogue)) {
		g := base
		change(&g)
		out = append(out, dialogueCell{name, g})
	}
	add("the one shown has 60 % of the talk, 1.4 m apart, 15 dB", func(*scene.Dialogue) {})
	add("all of the talk", func(g *scene.Dialogue) { g.Share = 1 })
	add("a quarter of it", func(g *scene.Dialogue) { g.Share = 0.25 })
	add("automatic level", func(g *scene.Dialogue) { g.AGC = true })
	add("SNR 3 dB", func(g *scene.Dialogue) { g.SNR = 3 })
	add("0.8 m apart", func(g *scene.Dialogue) { g.Apart = 0.8 })
	add("3 m apart", func(g *scene.Dialogue) { g.Apart = 3 })
	add("15 s", func(g *scene.Dialogue) { g.Length = 15 })
	return out
}

type dialogueCell struct {
	name     string
	dialogue scene.Dialogue
}

// An answer is what became of one dialogue: whether the sound it was married
// to, and that of the strongest match, is the one that the talker shown wears;
// whether the program gave a reason; whether it was married at all.
type answer struct{ right, strongest, reasoned, married bool }

// whose measures n dialogues of each kind and prints how often the right
// microphone was taken.
func whose(ctx context.Context, w io.Writer, seed uint64, n int) error {
	r, err := newRig()
	if err != nil {
		return err
	}
	fmt.Fprintln(w, "| dialogue | married | with the right microphone | told by its voice: right | wrong | the strongest match would be right |")
	fmt.Fprintln(w, strings.Repeat("|---", 6)+"|")
	for _, c := range dialogues() {
		answers := make([]answer, n)
		failed := make([]error, n)
		next := make(chan int)
		var group sync.WaitGroup
		for range runtime.NumCPU() {
			group.Go(func() {
				for i := range next {
					g := c.dialogue
					g.Seed = seed + uint64(i)
					answers[i], failed[i] = r.dialogue(ctx, g)
				}
			})
		}
		for i := range n {
			next <- i
		}
		close(next)
		group.Wait()
		if err := errors.Join(append(failed, ctx.Err())...); err != nil {
			return err
		}
		var married, right, told, misled, strongest int
		for _, a := range answers {
			married += counted(a.married)
			right += counted(a.right)
			told += counted(a.reasoned && a.right)
			misled += counted(a.reasoned && !a.right)
			strongest += counted(a.strongest)
		}
		fmt.Fprintf(w, "| %s | %d of %d | %d | %d | %d | %d |\n", c.name, married, n, right, told, misled, strongest)
	}
	return nil
}

func counted(v bool) int {
	if v {
		return 1
	}
	return 0
}

// leastSpoken is how long the one shown must talk in a clip to be who it is
// about, seconds.
const leastSpoken = 2.0

// dialogue makes one, marries it, and tells what was taken.
func (r *rig) dialogue(ctx context.Context, g scene.Dialogue) (answer, error) {
	dir, err := os.MkdirTemp("", "accuracy-")
	if err != nil {
		return answer{}, err
	}
	defer os.RemoveAll(dir)
	s, shown := g.Scene(r.phrases)
	if s.Spoken(&s.Clips[0], shown) < leastSpoken { // the one shown listens: the voice in the clip is the other's
		shown = 1 - shown
	}
	clip := s.Render(&s.Clips[0], dsp.ProxyRate)
	picture := media.Picture{Codec: "h264", Width: 480, Height: 270, Rate: frame.Rate{Num: 25, Den: 1}}
	files := map[string]mediatest.File{"C0001.MP4": mediatest.Clip(picture, dsp.ProxyRate, 1, time.Time{}, clip, []byte("picture"))}
	var out answer
	strongest, most := 0, 0.0
	for k := range s.Sounds {
		sound := s.Render(&s.Sounds[k], dsp.ProxyRate)
		files[filepath.Base(s.Sounds[k].Name)] = mediatest.Sound(dsp.ProxyRate, 1, time.Time{}, sound)
		mid := g.Length / 2
		f, err := align.Find(align.Samples(clip), align.Samples(sound), align.Guess{At: mid, Sound: scene.Heard(&s.Clips[0], &s.Sounds[k], shown, mid)})
		if err != nil {
			return answer{}, err
		}
		if f != nil && f.Strength > most {
			strongest, most = k, f.Strength
		}
	}
	out.strongest = strongest == shown
	in := filepath.Join(dir, "in")
	if err := os.Mkdir(in, 0o777); err != nil {
		return answer{}, err
	}
	for name, f := range files {
		if err := mediatest.Write(filepath.Join(in, name), f); err != nil {
			return answer{}, err
		}
	}
	a := &app.App{Engine: &mediatest.Fake{}, Cache: store.Open(filepath.Join(dir, "cache"), store.DefaultLimit)}
	res, err := a.Marry(ctx, app.MarryOptions{Paths: []string{in}, To: filepath.Join(dir, "out")})
	if err != nil || len(res.Clips) == 0 {
		return out, err
	}
	c := res.Clips[0]
	out.married = c.State == app.Written
	out.right = filepath.Base(c.Sound) == filepath.Base(s.Sounds[shown].Name)
	out.reasoned = strings.Contains(strings.Join(c.Take.Why, "; "), "voice")
	return out, nil
}
