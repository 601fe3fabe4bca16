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
	n, rows := g.law.count(), c.fitted.len()
	jac := make([]float64, rows*n)
	theta := g.start(c.result.Params)
	columns := make([][]float64, n)
	for j := range columns {
		columns[j] = make([]float64, rows)
	}
	for i, p := range c.fitted.pulse {
		row := jac[i*n : (i+1)*n]
		g.law.ratio(theta, p, c.fitted.way[i], row)
		for j, d := range row {
			columns[j][i] = d / c.fitted.sigma[i]
		}
	}
	extra := columns[g.at]
	old := append(columns[:g.at:g.at], columns[g.at+1:]...)
	before := dot(extra, extra)
	orthogonal(old, extra)
	length2 := dot(extra, extra)
	if !(length2 > 1e-12*before) {
		return 0 // the readings cannot tell it from the others
	}
	along := dot(extra, c.result.Residuals)
	return along * along / length2
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

// promising tells whether a grown law may be clearly better than the candidate it grows from.
func (c *candidate) promising(g grown) bool {
	if len(c.kept) < g.law.count()+spareReadings {
		return false
	}
	fallen := akaike(len(c.kept), g.law.count(), math.Max(c.result.ChiSquare-c.promise(g), 0))
	// The law is curved: a step by the derivative tells the fall only roughly.
	return c.aicc()-fallen > clearGain/2
}

// grow fits the grown law to the same readings.
func (c *candidate) grow(g grown) (*candidate, bool) {
	next := newCandidate(g.law, c.data, c.prior, c.solver)
	next.result.Params = g.start(c.result.Params)
	if !next.fitKept(c.kept) {
		return nil, false
	}
	next.scale = next.robustScale()
	return next, true
}

// tend grows a candidate as far as it promises to be clearly better each time, and returns all that grew. What two ways
// lead to is fitted once.
func tend(c *candidate, seen map[string]bool) (found []*candidate) {
	for _, g := range c.law.grows() {
		key := string(g.law.name()) + fmtTerms(g.law)
		if seen[key] || !c.promising(g) {
			continue
		}
		seen[key] = true
		if next, ok := c.grow(g); ok {
			found = append(found, next)
			if c.aicc()-next.aicc() > clearGain {
				found = append(found, tend(next, seen)...)
			}
		}
	}
	return found
}
