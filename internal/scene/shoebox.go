package scene

import (
	"math"
	"math/rand/v2"
)

// A Shoebox is a box-shaped room, simulated by mirror images of the source
// (Allen & Berkley 1979, "Image method for efficiently simulating small-room
// acoustics"), each placed between the samples by a windowed sinc (Peterson
// 1986). Differences from the paper: one absorption for all walls; each
// reflection turns the pressure over, so that no energy piles up at 0 Hz and
// the paper's high-pass is not needed (Lehmann & Johansson 2008); images beyond
// the first order are moved by up to 4 cm at random, which takes away the
// ringing of a perfect box (De Sena et al. 2015).
type Shoebox struct {
	Size   [3]float64 // metres
	Talker [3]float64 // metres from one corner
	Mic    [3]float64
	RT60   float64 // seconds, turned into an absorption by Eyring's formula
	Seed   uint64
}

// SpeedOfSound in m/s at 20 °C: 343.2·sqrt(T/293.15), ISO 9613-1.
const SpeedOfSound = 343.2

// Distance returns metres from talker to microphone.
func (s *Shoebox) Distance() float64 { return distance(s.Talker, s.Mic) }

// Flight returns the seconds of the direct path.
func (s *Shoebox) Flight() float64 { return s.Distance() / SpeedOfSound }

// Absorption returns the walls' energy absorption for RT60 after Eyring:
// T = 0.161·V / (-S·ln(1-α)).
func (s *Shoebox) Absorption() float64 {
	x, y, z := s.Size[0], s.Size[1], s.Size[2]
	return 1 - math.Exp(-0.161*x*y*z/(2*(x*y+y*z+z*x)*s.RT60))
}

// boxLead is how many samples stand before the direct sound.
const boxLead = 32

// Response returns the room's response at rate samples per second, scaled so
// that the direct sound has height 1 and stands at exactly Direct. Times in it
// count from the direct sound; Flight is left to the Path.
func (s *Shoebox) Response(rate float64) *Response {
	wall := -math.Sqrt(1 - s.Absorption()) // pressure kept at each reflection
	length := s.RT60 + 0.02
	out := &Response{Name: "shoebox", Rate: rate, Direct: boxLead,
		Samples: make([]float32, int(length*rate)+2*boxLead)}
	sum := make([]float64, len(out.Samples))
	near := s.Distance()
	reach := near + length*SpeedOfSound
	shake := rand.New(rand.NewPCG(s.Seed, 0x5b0c5))
	s.images(reach, func(at [3]float64, bounces int) {
		d := distance(at, s.Mic)
		if bounces > 1 {
			d += 0.04 * (2*shake.Float64() - 1)
		}
		if d > reach || d < near {
			return
		}
		spread(sum, boxLead+(d-near)/SpeedOfSound*rate, math.Pow(wall, float64(bounces))*near/d)
	})
	for i, v := range sum {
		out.Samples[i] = float32(v)
	}
	return out
}

// images calls fn for the source and every mirror image within reach metres.
func (s *Shoebox) images(reach float64, fn func(at [3]float64, bounces int)) {
	var n [3]int
	for i := range n {
		n[i] = int(reach/(2*s.Size[i])) + 1
	}
	for x := -n[0]; x <= n[0]; x++ {
		for y := -n[1]; y <= n[1]; y++ {
			wide, deep := float64(max(0, 2*abs(x)-2))*s.Size[0], float64(max(0, 2*abs(y)-2))*s.Size[1]
			if wide*wide+deep*deep > reach*reach {
				continue
			}
			for z := -n[2]; z <= n[2]; z++ {
				for flip := range 8 {
					at, bounces := s.image([3]int{x, y, z}, flip)
					fn(at, bounces)
				}
			}
		}
	}
}

// image returns one image: in each direction shifted by whole double rooms and
// mirrored or not, with the number of walls its path meets.
func (s *Shoebox) image(cell [3]int, flip int) (at [3]float64, bounces int) {
	for i := range at {
		mirror := flip >> i & 1
		at[i] = float64(1-2*mirror)*s.Talker[i] + 2*float64(cell[i])*s.Size[i]
		bounces += abs(cell[i]-mirror) + abs(cell[i])
	}
	return at, bounces
}

// boxKernel places images between the samples.
var boxKernel = newKernel(16, 1024, 8)

// spread adds a band-limited click of the given height at place pos.
func spread(sum []float64, pos, height float64) {
	whole := math.Floor(pos)
	fine := (pos - whole) * float64(boxKernel.phases)
	p := min(int(fine), boxKernel.phases-1)
	step := fine - float64(p)
	low, high := boxKernel.rows[p], boxKernel.rows[p+1]
	first := int(whole) - boxKernel.half + 1
	from, to := max(0, -first), min(len(low), len(sum)-first)
	for j := from; j < to; j++ {
		sum[first+j] += height * (low[j] + step*(high[j]-low[j]))
	}
}

func distance(a, b [3]float64) float64 {
	return math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]) + (a[2]-b[2])*(a[2]-b[2]))
}

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}
