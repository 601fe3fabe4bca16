package variator

import (
	"math"
	"slices"
)

// foretold is what the neighbours of place k say of it: the cubic through the two on either side, or as many as there
// are, with the error that theirs leaves in it.
func (s *freeSide) foretold(k int) (size, stdErr float64) {
	from := max(0, k-2)
	to := min(len(s.places), k+3)
	if to-from < 5 { // at an end: keep four neighbours where there are
		from = max(0, min(from, to-5))
		to = min(len(s.places), from+5)
	}
	var at []int
	for i := from; i < to; i++ {
		if i != k {
			at = append(at, i)
		}
	}
	variance := 0.0
	for _, i := range at {
		share := 1.0
		for _, j := range at {
			if j != i {
				share *= (s.places[k].out - s.places[j].out) / (s.places[i].out - s.places[j].out)
			}
		}
		size += share * s.places[i].size
		variance += share * share / s.places[i].weight
	}
	return size, math.Sqrt(variance)
}

// inner tells whether place k has a neighbour on either side, so that foretelling it is no extrapolation.
func (s *freeSide) inner(k int) bool { return k > 0 && k < len(s.places)-1 }

// freeLeaveOneOut foretells each place from the others. What that misses beyond the readings' own errors is the error
// of interpolating over twice the spacing; over the spacing itself, in the middle, it is a sixteenth of that for a
// cubic, but no smoothness was promised, so a quarter is taken.
func freeLeaveOneOut(d *readingData, sides [2]*freeSide) (out LeaveOneOut, between float64) {
	var sum leftOut
	excess, places := 0.0, 0.0
	for _, s := range sides {
		for k, p := range s.places {
			if !s.inner(k) {
				continue
			}
			size, stdErr := s.foretold(k)
			for _, i := range p.members {
				slope := math.Max((s.places[k+1].size-s.places[k-1].size)/(s.places[k+1].out-s.places[k-1].out), 0)
				sum.add(s.side*s.direction*d.ratio[i]-size, d.sigma[i], slope, d.pulse[i], d.ratio[i])
			}
			miss := p.size - size
			excess += miss*miss - stdErr*stdErr - 1/p.weight
			places++
		}
	}
	if places > 0 {
		between = math.Sqrt(math.Max(excess/places, 0)) / 4
	}
	return sum.done(), between
}

// freeOutliers finds readings that their neighbours disown, the wildest first and never more than a fifth.
func freeOutliers(d *readingData, shift, limit float64) []int {
	var dropped []int
	for len(dropped) < d.len()/5 {
		sides, ok := bothSides(d, shift, dropped)
		if !ok {
			break
		}
		worst, size, all := -1, 0.0, []float64{}
		for _, s := range sides {
			for k, p := range s.places {
				if !s.inner(k) {
					continue
				}
				want, stdErr := s.foretold(k)
				for _, i := range p.members {
					z := math.Abs(s.side*s.direction*d.ratio[i]-want) / math.Hypot(d.sigma[i], stdErr)
					all = append(all, z)
					if z > size {
						worst, size = i, z
					}
				}
			}
		}
		// Interpolation misses too, so the limit is half as wide again as for a law.
		if worst < 0 || size <= 1.5*limit*math.Max(1.4826*median(all), 1) {
			break
		}
		dropped = append(dropped, worst)
	}
	slices.Sort(dropped)
	return dropped
}
