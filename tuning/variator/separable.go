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
