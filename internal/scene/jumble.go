package scene

import "slices"

// The lengths of the pieces that a jumbled excerpt is made of, and of the
// crossfade between two, seconds: a syllable or two.
const (
	shortPiece = 0.12
	longPiece  = 0.35
	pieceFade  = 0.004
)

// Jumbled returns the excerpt cut into syllables, where it is quietest, and
// put together in another order: the same voice in the same room, saying
// something else. It is shorter by the crossfades.
func Jumbled(e *Excerpt, seed uint64) *Excerpt {
	pieces := syllables(e)
	newRand(seed, 9).Shuffle(len(pieces), func(i, j int) { pieces[i], pieces[j] = pieces[j], pieces[i] })
	fade := int(pieceFade * e.Rate)
	out := make([]float32, 0, len(e.Samples))
	for n, p := range pieces {
		if n > 0 {
			tail := out[len(out)-fade:]
			for i := range tail {
				x := (float32(i) + 0.5) / float32(fade)
				tail[i] = (1-x)*tail[i] + x*p[i]
			}
			p = p[fade:]
		}
		out = append(out, p...)
	}
	return &Excerpt{Name: e.Name + " jumbled", Rate: e.Rate, Samples: out}
}

// Reversed returns the excerpt played backwards.
func Reversed(e *Excerpt) *Excerpt {
	out := slices.Clone(e.Samples)
	slices.Reverse(out)
	return &Excerpt{Name: e.Name + " reversed", Rate: e.Rate, Samples: out}
}

// syllables cuts an excerpt where it is quietest.
func syllables(e *Excerpt) [][]float32 {
	short, long, width := int(shortPiece*e.Rate), int(longPiece*e.Rate), int(0.01*e.Rate)
	var pieces [][]float32
	rest := e.Samples
	for len(rest) > short+long {
		cut, least := long, -1.0
		for at := short; at+width <= long; at += width {
			power := 0.0
			for _, v := range rest[at : at+width] {
				power += float64(v) * float64(v)
			}
			if least < 0 || power < least {
				cut, least = at+width/2, power
			}
		}
		pieces = append(pieces, rest[:cut])
		rest = rest[cut:]
	}
	return append(pieces, rest)
}
