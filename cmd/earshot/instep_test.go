package main

import (
	"fmt"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"earshot/internal/web/webtest"
)

// inStepJS plays a take for twenty seconds with the original's picture, and again
// with the small copy's, one at a time as a person sees them, and gathers by how
// much each frame is shown after its moment is heard. Nothing of the first two
// seconds counts.
const inStepJS = `(async (take, recording, length) => {
	const { api } = await import('/common/api.js'), { createListener } = await import('/listen/listen.js'), { createPicture } = await import('/take/picture.js')
	const nap = (ms) => new Promise((r) => setTimeout(r, ms))
	await api.makePicture(recording.id)
	const play = async (source) => {
		const listener = createListener({ api })
		listener.load(take, { length })
		const root = document.createElement('div')
		root.style.cssText = 'position: fixed; inset: 0 50% 50% 0; z-index: 9; overflow: hidden'
		document.body.append(root)
		const picture = createPicture(root, { api })
		picture.load(recording)
		if (picture.source !== source) picture.use(source)
		for (let i = 0; i < 3000 && picture.video.readyState < 3; i++) await nap(10)
		picture.follow(listener)
		listener.play()
		while (!listener.moving) await nap(10)
		const off = [], first = []
		let jumps = 0, heard = first
		const note = picture.note.bind(picture), jump = picture.jump.bind(picture)
		picture.jump = (t) => { jumps++; jump(t) }
		picture.note = (s) => { heard.push(1000 * s); note(s) }
		await nap(2000)
		heard = off
		await nap(20000)
		const sorted = off.toSorted((a, b) => a - b), away = sorted.map((x) => Math.abs(x)).sort((a, b) => a - b)
		const out = { source: picture.source, median: sorted[sorted.length >> 1], within: away[Math.floor(0.95 * away.length)], most: away.at(-1), frames: sorted.length, jumps, first }
		picture.close()
		root.remove()
		listener.close()
		return out
	}
	return { file: await play('file'), copy: await play('copy') }
})`

// BenchmarkPictureInStep tells how far the clip and its small copy are shown
// behind what is heard of it, in ms: the median over twenty seconds and what 95
// of 100 frames are within. It takes half a minute for each rate, once.
func BenchmarkPictureInStep(b *testing.B) {
	needs(b, "ffmpeg")
	folder := b.TempDir()
	const length = 28
	rates := []string{"24", "25", "30000/1001", "60000/1001", "uneven"}
	name := func(rate string) string { return "C" + strings.ReplaceAll(rate, "/", "_") + ".mp4" }
	for _, rate := range rates {
		words := "-c:v libx264 -preset ultrafast -pix_fmt yuv420p -c:a aac"
		source := rate
		if rate == "uneven" {
			source, words = "30", `-vf setpts='(N+0.4*mod(N*N\,3))/30/TB' -fps_mode passthrough -enc_time_base 1/90000 `+words
		}
		args := strings.Fields(fmt.Sprintf("-v error -f lavfi -i testsrc2=s=640x360:r=%s -f lavfi -i anoisesrc=a=0.1 -t %d ", source, length) + strings.ReplaceAll(words, "'", ""))
		if said, err := exec.Command("ffmpeg", append(args, filepath.Join(folder, name(rate)))...).CombinedOutput(); err != nil {
			b.Fatalf("%v: %s", err, said)
		}
	}
	if said, err := exec.Command("ffmpeg", "-v", "error", "-f", "lavfi", "-i", "anoisesrc=a=0.2:seed=5", "-t", "40", filepath.Join(folder, "r.wav")).CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, said)
	}
	p := openPage(b, webtest.Browser(b), 1280, 900, startDesk(b, b.TempDir(), folder).url)
	p.Until("all is read", fmt.Sprintf(`await fetch('/api/state').then((r) => r.json()).then((s) => !s.work.busy && s.recordings.filter((r) => r.state === 'read').length === %d)`, len(rates)+1))
	for _, rate := range rates {
		b.Run(strings.ReplaceAll(rate, "/", "_"), func(b *testing.B) {
			var out map[string]struct {
				Source               string
				Median, Within, Most float64
				Frames, Jumps        int
				First                []float64
			}
			for b.Loop() {
				p.JS(`await (async () => {
					const s = await fetch('/api/state').then((r) => r.json())
					const clip = s.recordings.find((r) => r.name === `+quoted(name(rate))+`), sound = s.recordings.find((r) => r.name === 'r.wav')
					await fetch('/api/takes/' + clip.id + '/word', { method: 'PATCH', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ sound: sound.id, line: { offset_s: 1, drift_ppm: 0 } }) })
					return await `+inStepJS+`(clip.id, clip, clip.length_s)
				})()`, &out)
			}
			for source, v := range out {
				b.Logf("%s, the first two seconds: %.0f", source, v.First)
				b.ReportMetric(float64(v.Jumps), source+"-jumps")
				b.ReportMetric(v.Most, source+"-most-ms")
				b.ReportMetric(v.Median, source+"-median-ms")
				b.ReportMetric(v.Within, source+"-95%-ms")
				b.ReportMetric(float64(v.Frames), source+"-frames")
				if v.Source != source {
					b.Errorf("shown is the %s instead of the %s", v.Source, source)
				}
			}
		})
	}
}
