package desk

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// timesOfDay places recordings on one clock, seconds, by id: those that takes
// tie together lie as the takes say, and each such group lies where the dates in
// its files say, taken together; groups without a date follow the rest, by the names of their recordings.
// A recording that nothing ties and that has no date is not placed. Times count
// from the midnight before the earliest date, by the files' own clocks; from the
// first recording where no file has a date.
func timesOfDay(recs map[string]Recording, takes []Take) map[string]*float64 {
	groups := tied(recs, takes)
	out := map[string]*float64{}
	first, end := math.Inf(1), math.Inf(-1)
	var undated []map[string]float64
	for _, g := range groups {
		at, ok := dated(recs, g)
		if !ok {
			if len(g) > 1 {
				undated = append(undated, g)
			}
			continue
		}
		for id, off := range g {
			t := at + off
			out[id] = &t
			first, end = math.Min(first, t), math.Max(end, t+recs[id].Length)
		}
	}
	if math.IsInf(end, -1) {
		end = 0
	}
	const apart = 60 // seconds between groups of which nothing is known
	for _, g := range undated {
		first, last := math.Inf(1), math.Inf(-1)
		for id, off := range g {
			first, last = math.Min(first, off), math.Max(last, off+recs[id].Length)
		}
		for id, off := range g {
			t := end + apart + off - first
			out[id] = &t
		}
		end += apart + last - first
	}
	return fromMidnight(out, first)
}

// fromMidnight counts times from the midnight before the earliest dated one, or
// from the earliest where none is dated (infinite).
func fromMidnight(times map[string]*float64, dated float64) map[string]*float64 {
	const day = 24 * 60 * 60
	from := math.Floor(dated/day) * day
	if math.IsInf(dated, 1) {
		for _, t := range times {
			from = math.Min(from, *t)
		}
	}
	for _, t := range times {
		*t -= from
	}
	return times
}

// tied parts recordings into groups that takes tie together, each with its
// members' places against one of them.
func tied(recs map[string]Recording, takes []Take) []map[string]float64 {
	type tie struct {
		to string
		by float64
	}
	ties := map[string][]tie{}
	for _, t := range takes {
		ties[t.ID] = append(ties[t.ID], tie{t.Sound, -t.Line.Offset})
		ties[t.Sound] = append(ties[t.Sound], tie{t.ID, t.Line.Offset})
	}
	ids := make([]string, 0, len(recs))
	for id := range recs {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, func(a, b string) int { return cmp.Or(cmp.Compare(recs[a].Name, recs[b].Name), cmp.Compare(a, b)) })
	placed := map[string]bool{}
	var groups []map[string]float64
	for _, id := range ids {
		if placed[id] {
			continue
		}
		group, todo := map[string]float64{id: 0}, []string{id}
		placed[id] = true
		for len(todo) > 0 {
			at := todo[0]
			todo = todo[1:]
			for _, t := range ties[at] {
				if _, known := recs[t.to]; known && !placed[t.to] {
					placed[t.to] = true
					group[t.to] = group[at] + t.by
					todo = append(todo, t.to)
				}
			}
		}
		groups = append(groups, group)
	}
	return groups
}

// dated is where a group's zero lies by the dates in its members' files: the
// median of what each says.
func dated(recs map[string]Recording, group map[string]float64) (float64, bool) {
	var says []float64
	for id, off := range group {
		if made, err := time.Parse(time.RFC3339, recs[id].Made); err == nil {
			_, east := made.Zone()
			says = append(says, float64(made.Unix()+int64(east))-off)
		}
	}
	if len(says) == 0 {
		return 0, false
	}
	slices.Sort(says)
	return says[len(says)/2], true
}
