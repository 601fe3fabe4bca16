package variator

import (
	"cmp"
	"math"
	"slices"
)

// surely is how many standard deviations a pattern in the residuals must stand out before it is spoken of: with four
// patterns looked for, one fit in two hundred sees one by chance.
const surely = 3.2

// leftover is what a fit left of one reading: reading minus curve in standard deviations, positive outward.
type leftover struct {
	order     int // as the readings were given
	side, out float64
	excess    float64
}

// suggests is what patterns in the residuals point to. The readings are taken to be given in the order in which they
// were read.
func (c *candidate) suggests() []string {
	if !(c.result.Scale > 0) || len(c.kept) < 3*leastPerSide+c.law.count() {
		return nil
	}
	left := c.leftovers()
	var found []string
	switch t := trend(left, func(l leftover) float64 { return l.excess }); {
	case t > surely:
		found = append(found, "the output turned ever faster while the readings were taken, as when creep falls")
	case t < -surely:
		found = append(found, "the output turned ever slower while the readings were taken, as when creep or load grows")
	}
	if t := trend(left, func(l leftover) float64 { return l.side * l.excess }); math.Abs(t) > surely {
		found = append(found, "the centre moved while the readings were taken, as when a servo warms up")
	}
	if alike(left) > surely {
		found = append(found, "neighbouring readings miss the curve alike, as with a bend that the law lacks or with runout")
	}
	switch t := spreads(left); {
	case t > surely:
		found = append(found, "fast readings scatter more than their errors say, as with slip or a tilt that does not come back")
	case t < -surely:
		found = append(found, "slow readings scatter more than their errors say, as with an edge that sticks")
	}
	return found
}

func (c *candidate) leftovers() []leftover {
	left := make([]leftover, len(c.kept))
	direction := math.Copysign(1, c.result.Params[0])
	for k, i := range c.kept {
		e, side := c.law.place(c.result.Params, c.data.pulse[i], c.data.way[i])
		left[k] = leftover{order: i, side: side, out: e, excess: -c.result.Residuals[k] / c.result.Scale * side * direction}
	}
	return left
}

// trend is Student's t of the correlation of a value with the order of reading.
func trend(left []leftover, of func(leftover) float64) float64 {
	n := float64(len(left))
	var sx, sy, sxx, syy, sxy float64
	for _, l := range left {
		x, y := float64(l.order), of(l)
		sx, sy, sxx, syy, sxy = sx+x, sy+y, sxx+x*x, syy+y*y, sxy+x*y
	}
	rho := (sxy - sx*sy/n) / math.Sqrt((sxx-sx*sx/n)*(syy-sy*sy/n))
	return rho * math.Sqrt((n-2)/math.Max(1-rho*rho, 1e-12))
}

// alike is the sum of products of neighbours along either side, in its standard deviations for independent ones.
// Readings at one place are no neighbours: what they share the law need not miss.
func alike(left []leftover) float64 {
	sorted := slices.Clone(left)
	slices.SortStableFunc(sorted, func(a, b leftover) int {
		return cmp.Or(cmp.Compare(a.side, b.side), cmp.Compare(a.out, b.out))
	})
	sum, count := 0.0, 0.0
	for k := 1; k < len(sorted); k++ {
		a, b := sorted[k-1], sorted[k]
		if a.side == b.side && b.out-a.out > 0.05 {
			sum += a.excess * b.excess
			count++
		}
	}
	return sum / math.Sqrt(math.Max(count, 1))
}

// spreads compares the scatter of the outer third of the readings with that of the inner third: the logarithm of the
// quotient of variances in its standard deviations.
func spreads(left []leftover) float64 {
	sorted := slices.Clone(left)
	slices.SortStableFunc(sorted, func(a, b leftover) int { return cmp.Compare(a.out, b.out) })
	third := len(sorted) / 3
	variance := func(part []leftover) (sum float64) {
		for _, l := range part {
			sum += l.excess * l.excess / float64(len(part))
		}
		return sum
	}
	inner, outer := variance(sorted[:third]), variance(sorted[len(sorted)-third:])
	return math.Log(outer/inner) / math.Sqrt(4/float64(third))
}
