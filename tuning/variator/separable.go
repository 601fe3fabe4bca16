package variator

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// telling is how far a parameter must move for a maker to call it another value, in its own unit: a tenth of a gain or
// rate, 3 degrees of contact angle, a tenth of the reach in tilt, a few us, two hundredths in ratio.
func (c *candidate) telling(name string, value float64) float64 {
	switch name {
	case parAsymmetry:
		return 0.1
	case parAngleError:
		return 0.05
	case parCurvature:
		return 0.1 / c.data.reach()
	case parFriction:
		return 0.02
	case parCentre, parOnset, parHysteresis:
		return 5
	}
	return 0.1 * math.Abs(value)
}

// inseparable are groups of parameters along whose common direction the readings leave more freedom than telling. With
// the covariance in telling sizes those are its eigenvectors with a standard deviation above 1; a parameter belongs to
// one by a share of a quarter or more.
func (c *candidate) inseparable() [][]string {
	n := c.law.count()
	names := c.law.names()
	size := make([]float64, n)
	for j, name := range names {
		size[j] = c.telling(name, c.result.Params[j])
	}
	scaled := mat.NewSymDense(n, nil)
	trace := 0.0
	for i := range n {
		for j := i; j < n; j++ {
			scaled.SetSym(i, j, c.result.Covariance[i][j]/(size[i]*size[j]))
		}
		trace += scaled.At(i, i)
	}
	var eigen mat.EigenSym
	if !(trace > 1) || !eigen.Factorize(scaled, true) { // no eigenvalue exceeds the trace
		return nil
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	var groups [][]string
	for k, variance := range eigen.Values(nil) {
		if variance <= 1 {
			continue
		}
		var group []string
		for j, name := range names {
			if math.Abs(vectors.At(j, k)) >= 0.25 {
				group = append(group, name)
			}
		}
		groups = append(groups, group)
	}
	return groups
}

// wheelsOff is how far the wheels and the readings alone are apart on the gain. With the prior the gain g has variance v;
// taking the prior's share out again leaves what the readings say.
func (c *candidate) wheelsOff() *float64 {
	p := c.prior
	if !(p.StdErr > 0) {
		return nil
	}
	off := 0.0
	weight, prior := 1/c.result.Covariance[0][0], 1/(p.StdErr*p.StdErr)
	if own := weight - prior; own > 1e-6*prior { // else the readings say nothing of the gain
		alone := (math.Abs(c.result.Params[0])*weight - p.Value*prior) / own
		off = (alone - p.Value) / math.Sqrt(1/own+1/prior)
	}
	return &off
}
