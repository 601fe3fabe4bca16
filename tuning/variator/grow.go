package variator

import "math"

// grown is a law with one thing more: an angle error of the contacts, or a term. Its parameters hold those of the
// smaller law in the same order; at is where the new one stands, which is 0 in the smaller law.
type grown struct {
	law lawOf
	at  int
}

// grows lists what a law can be grown to. Only a ball has contacts at an angle.
func (l lawOf) grows() []grown {
	var list []grown
	if _, ball := l.shape.(contact); ball {
		list = append(list, grown{newLaw(contactAngle{}, l.terms), l.shapeCount})
	}
	add := func(t terms) lawOf { return newLaw(l.shape, t) }
	if !l.terms.curvature {
		t := l.terms
		t.curvature = true
		list = append(list, grown{add(t), add(t).curvatureAt})
	}
	if !l.terms.friction {
		t := l.terms
		t.friction = true
		list = append(list, grown{add(t), add(t).frictionAt})
	}
	return list
}

// start are the parameters of the grown law that give the smaller one.
func (g grown) start(theta []float64) []float64 {
	start := make([]float64, 0, len(theta)+1)
	start = append(start, theta[:g.at]...)
	start = append(start, 0)
	return append(start, theta[g.at:]...)
}

// promise is by how much a grown law's sum of squares will fall, found without fitting it: the part of the residuals
// that lies along the new derivative and along none of the old ones (a score test).
func (c *candidate) promise(g grown) float64 {
	columns := derivatives(g.law, c.fitted, g.start(c.result.Params))
	extra := columns[g.at]
	old := append(columns[:g.at:g.at], columns[g.at+1:]...)
	along := alongOnly(old, extra, c.result.Residuals)
	return along * along
}

// derivatives of a law's ratios by its parameters over the readings' claimed errors, a column for each parameter.
func derivatives(l lawOf, d *readingData, theta []float64) [][]float64 {
	columns := make([][]float64, l.count())
	for j := range columns {
		columns[j] = make([]float64, d.len())
	}
	row := make([]float64, l.count())
	for i, p := range d.pulse {
		l.ratio(theta, p, d.way[i], row)
		for j, v := range row {
			columns[j][i] = v / d.sigma[i]
		}
	}
	return columns
}

// alongOnly is the component of v along extra's part that is in none of the columns, all of which it changes; 0 where
// there is no such part.
func alongOnly(columns [][]float64, extra, v []float64) float64 {
	before := dot(extra, extra)
	orthogonal(columns, extra)
	length2 := dot(extra, extra)
	if !(length2 > 1e-12*before) {
		return 0 // the readings cannot tell it from the others
	}
	return dot(extra, v) / math.Sqrt(length2)
}

// bulge tells how the readings that a straight law was fitted to bend: positive where they rise ever faster outward, in
// scatters of a reading.
func (c *candidate) bulge() float64 {
	columns := derivatives(c.law, c.fitted, c.result.Params)
	cube := make([]float64, c.fitted.len())
	for i, p := range c.fitted.pulse {
		e, side := c.law.place(c.result.Params, p, c.fitted.way[i])
		cube[i] = math.Copysign(1, c.result.Params[0]) * side * math.Pow(math.Max(e, 0), 3) / c.fitted.sigma[i]
	}
	scatter := math.Sqrt(sumOfSquares(c.result.Residuals) / float64(c.fitted.len()))
	return -alongOnly(columns, cube, c.result.Residuals) / math.Max(scatter, 1)
}

// orthogonal makes the columns orthonormal, each against those before it, and takes their share out of v; all twice,
// because nearly parallel ones leave rounding the first time.
func orthogonal(columns [][]float64, v []float64) {
	for k, column := range append(columns[:len(columns):len(columns)], v) {
		for range 2 {
			for _, base := range columns[:k] {
				share := dot(base, column)
				for i, b := range base {
					column[i] -= share * b
				}
			}
		}
		if k < len(columns) {
			if length := math.Sqrt(dot(column, column)); length > 0 {
				for i := range column {
					column[i] /= length
				}
			}
		}
	}
}

func dot(a, b []float64) (sum float64) {
	for i, x := range a {
		sum += x * b[i]
	}
	return sum
}

// promising tells whether a grown law may be better than the candidate it grows from, be it only a rival.
func (c *candidate) promising(g grown) bool {
	if len(c.kept) < g.law.count()+spareReadings {
		return false
	}
	fallen := akaike(len(c.kept), g.law.count(), math.Max(c.result.ChiSquare-c.promise(g), 0))
	return c.aicc() > fallen
}

// grow fits the grown law to the same readings. A negative friction offset is a jump with which the output leaves rest.
// No reading lies where it would show, between the edge and the slowest that turns, so it is not taken unasked.
func (c *candidate) grow(g grown) (*candidate, bool) {
	next := newCandidate(g.law, c.data, c.prior, c.solver)
	next.result.Params = g.start(c.result.Params)
	if !next.fitKept(c.kept) || next.law.terms.friction && next.result.Params[next.law.frictionAt] < 0 {
		return nil, false
	}
	next.scale = next.robustScale()
	return next, true
}

// tend grows a candidate as far as it promises to be clearly better each time, and returns all that grew. What two ways
// lead to is fitted once.
func tend(c *candidate, seen map[string]bool) (found []*candidate) {
	for _, g := range c.law.grows() {
		if seen[g.law.key()] || !c.promising(g) {
			continue
		}
		seen[g.law.key()] = true
		if next, ok := c.grow(g); ok {
			found = append(found, next)
			if c.aicc()-next.aicc() > clearGain {
				found = append(found, tend(next, seen)...)
			}
		}
	}
	return found
}
