package app

import (
	"cmp"
	"context"
	"math"
	"path/filepath"
	"testing"

	"earshot/internal/align"
	"earshot/internal/dsp"
	"earshot/internal/scene"
	"earshot/internal/shoot"
)

// Recorders of 8 kHz leave half of the band, and four things before the direct
// sound that are none: the mirror image that whitening makes of a strong
// reflection, as much before the direct sound as the reflection is behind it; what
// rings there because the band ends; the ripple that so narrow a band makes of the
// direct sound itself, a fifth of a millisecond before it; and what the room's
// response knows nothing of.
func TestWhatIsNotTheDirectSound(t *testing.T) {
	for _, tt := range []struct {
		name   string
		couple scene.Couple
	}{
		{"mirror image", scene.Couple{Seed: 410495, Length: 75.33657945269401, PPM: -86.74242051422063, Noise: scene.Pink, SNR: 6.599905821527048,
			RT60: 1.9115346217984381, DRR: -14.80401208348812, Inverted: true, Gate: 17.972633921995374}},
		{"ringing, a near camera", scene.Couple{Seed: 510008, Length: 51.185221985629475, PPM: -22.79095776872883, Noise: scene.Wind, SNR: 2.6170386611821272,
			RT60: 1.3757430404790865, DRR: 7.741830805000102}},
		{"what the room does not know", scene.Couple{Seed: 640466, Length: 37.63251978352656, PPM: 44.007803044124614, Noise: scene.Music, SNR: 19.59222296394325,
			RT60: 0.5235178477472959, DRR: -13.454410520821606}},
		{"ringing, a far camera", scene.Couple{Seed: 510265, Length: 115.21564307071165, PPM: 34.76656314235123, Noise: scene.Pink, SNR: 9.26292094368442,
			RT60: 0.8226193682804246, DRR: -11.166382337696845, Cloth: -40.90047793924931}},
		{"mirror image of a quarter", scene.Couple{Seed: 680610, Length: 119.42878348272689, PPM: 51.973659347568656, Noise: scene.Music, SNR: 18.410638029924502,
			RT60: 0.7742969698435007, DRR: 7.854705316774883}},
		{"ripple of the band", scene.Couple{Seed: 684159, Length: 22.121197342329474, PPM: -20.555352613956316, Noise: scene.Babble, SNR: 18.404130792827196,
			RT60: 1.9914855666341413, DRR: 5.8203348729745485}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			tt.couple.Rate = 8000
			take, p := paired(t, tt.couple)
			found, truth := align.Alignment{Offset: take.Offset, Drift: take.Drift * 1e-6}, align.Alignment{Offset: p.Offset, Drift: p.Drift}
			if off := found.Sound(37) - truth.Sound(37); math.Abs(off) > 0.0001 {
				t.Errorf("%s, %.3f ms off", take.Verdict, off*1e3)
			}
		})
	}
}

// Three seconds of talk do not tell their drift, and one of 139 ppm that nobody
// knows smears what is heard: the weak arrival a millisecond before the direct
// sound is made of that, and is none.
func TestWhatASlopeSmears(t *testing.T) {
	const mid = 1.5
	take, p := paired(t, scene.Couple{Seed: 30038, Length: 2 * mid, PPM: -139.1167231994642, Noise: scene.Pink, SNR: 10, RT60: 0.5})
	found, truth := align.Alignment{Offset: take.Offset, Drift: take.Drift * 1e-6}, align.Alignment{Offset: p.Offset, Drift: p.Drift}
	if off := found.Sound(mid) - truth.Sound(mid); math.Abs(off) > 0.0002 {
		t.Errorf("%s, %.3f ms off", take.Verdict, off*1e3)
	}
}

// paired is the take that is made of a couple, and the truth.
func paired(t *testing.T, c scene.Couple) (shoot.Take, scene.Pair) {
	t.Helper()
	phrases, err := scene.Phrases()
	if err != nil {
		t.Skip("no recorded speech")
	}
	a, _ := newApp(t)
	dir := t.TempDir()
	rate := cmp.Or(c.Rate, dsp.ProxyRate)
	s := c.Scene(phrases)
	writeFake(t, filepath.Join(dir, "C0001.MP4"), clipOf(dsp.ProxyRate, 1, s.Render(&s.Clips[0], dsp.ProxyRate)))
	writeFake(t, filepath.Join(dir, "x.wav"), soundFile(rate, 1, s.Render(&s.Sounds[0], rate)))
	res, err := a.Pair(context.Background(), PairOptions{Paths: []string{dir}})
	if err != nil || len(res.Document.Takes) != 1 {
		t.Fatalf("%d takes: %v", len(res.Document.Takes), err)
	}
	return res.Document.Takes[0], s.Truth()[0]
}
