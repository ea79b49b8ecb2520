package match

import "math"

// The chance that a take is wrong, as fitted to meetings of different moments
// (docs/accuracy.md says how, and holds it against what was found).
//
// Strangers: the share of meetings whose margin (see margin) lies about m falls
// as exp(-m/strangerFall), the tail of an extreme value (Gumbel 1958); there
// are as many tries as the clip met sounds, and it is held against rightShare,
// that of right pairs about where the two meet.
//
// Music from a record, and claps from one: the odds fall with the lead of the
// loudest and with what agrees beyond it, and rise with held tones, as logistic
// curves.
const (
	strangerShare = 2.8
	strangerFall  = 1.1
	rightShare    = 0.008

	recordMiddle, recordFall = 0.35, 0.035 // of Lead
	clapMiddle, clapFall     = 3.0, 0.5    // of Beyond
	steadyMiddle, steadyFall = 0.32, 0.02  // of Steady, which makes it likelier
	leastChance              = 1e-4        // less is not claimed: the trial holds some ten thousands of meetings
)

// margin is the strength of a link, or what its rest is worth where that is
// less.
func (l *Link) margin() float64 { return math.Min(l.Strength, l.Rest*sureFrom/sureRest) }

// chance is that of a decision being wrong. sounds is how many sounds its clip
// was held against, leads how many times as far as elsewhere the loudest must
// lead in this shoot.
func (d *Decision) chance(sounds int, links []Link, leads float64) float64 {
	l := &d.Link
	if !l.holds() { // a clap that lies on one: as good as any other that does
		return math.Max(0.5, 1-1/float64(1+clapsLike(l, links)))
	}
	odds := float64(max(1, sounds)) * strangerShare * math.Exp(-l.margin()/strangerFall) / rightShare
	odds += math.Exp((l.Steady - steadyMiddle) / steadyFall)
	odds += fall(l.Lead/leads, recordMiddle, recordFall) + fall(l.Beyond, clapMiddle, clapFall)
	right := 1 / (1 + odds) / float64(1+len(d.rivals))
	return math.Max(leastChance, 1-right)
}

// fall are odds that are even at middle; none where v is not known.
func fall(v, middle, fall float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return math.Exp((middle - v) / fall)
}

// clapsLike counts the other sounds in which a clap of the same clip lies on
// one about as well.
func clapsLike(l *Link, links []Link) (n int) {
	for _, o := range links {
		if o.Clip == l.Clip && o.Sound != l.Sound && o.Claps > 0 && o.Strength >= 0.7*l.Strength {
			n++
		}
	}
	return n
}
