package scene

import "math/rand/v2"

// A script hands out phrases so that none is said twice in the same way: every
// phrase once as recorded, then again at other speeds, 3 to 8 % off and at
// least 0.8 % apart, and up to 12 % off when an hour of talk needs it; in a new
// order each round.
type script struct {
	rng   *rand.Rand
	order []int
	at    int
	used  [][]float64 // speeds left for each phrase, next one last
}

// newScript shuffles the phrases.
func newScript(phrases []*Excerpt, rng *rand.Rand) *script {
	s := &script{rng: rng, order: rng.Perm(len(phrases)), used: make([][]float64, len(phrases))}
	for i := range s.used {
		var near, far []float64
		for n := range 12 {
			off := 0.03 + 0.008*float64(n)
			if n < 7 {
				near = append(near, 1+off, 1-off)
			} else {
				far = append(far, 1+off, 1-off)
			}
		}
		rng.Shuffle(len(near), func(a, b int) { near[a], near[b] = near[b], near[a] })
		s.used[i] = append(append(far, near...), 1) // taken from the end
	}
	return s
}

// next returns a phrase and its speed.
func (s *script) next() (which int, speed float64) {
	if s.at == len(s.order) {
		s.rng.Shuffle(len(s.order), func(a, b int) { s.order[a], s.order[b] = s.order[b], s.order[a] })
		s.at = 0
	}
	s.at++
	return s.again(s.order[s.at-1])
}

// again returns phrase which at a speed it has not had. After 25 times
// any speed within 8 % will do.
func (s *script) again(which int) (int, float64) {
	left := s.used[which]
	if len(left) == 0 {
		return which, 0.92 + 0.16*s.rng.Float64()
	}
	s.used[which] = left[:len(left)-1]
	return which, left[len(left)-1]
}
