package lsq

import (
	"math"
	"slices"
)

// unwritten marks places that a model has not written. It is no NaN, so that "not written" and "came out NaN" differ.
const unwritten = -6.0221e301

// checkWritten calls the model once and reports a place that it left untouched: a programming error in the model.
func (s *Solver) checkWritten() error {
	fill(s.raw, unwritten)
	s.problem.Residual(s.raw, s.params)
	if i := slices.Index(s.raw, unwritten); i >= 0 {
		return problemError("Residual", "residual %d was not written", i)
	}
	if s.problem.Jacobian == nil {
		return nil
	}
	fill(s.jac, unwritten)
	s.problem.Jacobian(s.jac, s.params)
	if k := slices.Index(s.jac, unwritten); k >= 0 {
		return problemError("Jacobian", "row %d, parameter %s was not written", k/s.cols, s.problem.Names[k%s.cols])
	}
	return nil
}

func fill(dst []float64, v float64) {
	for i := range dst {
		dst[i] = v
	}
}

// evaluate writes the standardised residuals at params and tells whether all are finite.
func (s *Solver) evaluate(dst, params []float64) (finite bool) {
	s.summary.ResidualCalls++
	s.problem.Residual(s.raw, params)
	sum := 0.0
	for i, r := range s.raw {
		if s.problem.Sigma != nil {
			r /= s.problem.Sigma[i]
		}
		dst[i] = r
		sum += r * r
	}
	for k, prior := range s.problem.Priors {
		dst[s.rows+k] = (params[prior.Param] - prior.Mean) / prior.StdErr
	}
	return !math.IsNaN(sum) && !math.IsInf(sum, 0)
}

// costOf is half the sum of squares, or its robust counterpart on the same footing; priors are never robust.
func (s *Solver) costOf(residual []float64) float64 {
	cost := 0.0
	for i, f := range residual {
		if s.opt.Loss.Robust() && i < s.rows {
			cost += s.scale * s.scale * s.opt.Loss.rho(f/s.scale)
		} else {
			cost += f * f / 2
		}
	}
	return cost
}

// reduction is costOf(from) - costOf(to), summed term by term because the difference of two sums would lose the
// digits that decide near the end.
func (s *Solver) reduction(from, to []float64) float64 {
	sum := 0.0
	for i, a := range from {
		b := to[i]
		if s.opt.Loss.Robust() && i < s.rows {
			sum += s.scale * s.scale * (s.opt.Loss.rho(a/s.scale) - s.opt.Loss.rho(b/s.scale))
		} else {
			sum += (a - b) * (a + b) / 2
		}
	}
	return sum
}

// maxScalePasses bounds how often the robust scale is found anew; it settles in a few.
const maxScalePasses = 30

// firstScale is the scale at the start.
func (s *Solver) firstScale() float64 {
	switch {
	case s.opt.Loss.scale > 0:
		return s.opt.Loss.scale
	case s.scaleIsKnown():
		return 1
	}
	if scale := s.medianScale(); scale > 0 {
		return scale
	}
	return 1
}

// scaleIsKnown tells whether the robust scale stays as it is.
func (s *Solver) scaleIsKnown() bool {
	return !s.opt.Loss.Robust() || s.opt.Loss.scale > 0 || s.opt.Noise == KnownSigma
}

// rescale finds the robust scale at the present residuals and tells whether it moved enough to fit again.
func (s *Solver) rescale() bool {
	if s.scaleIsKnown() {
		return false
	}
	scale := s.medianScale()
	if scale <= 0 || math.Abs(scale-s.scale) <= 1e-6*s.scale {
		return false
	}
	s.scale = scale
	s.cost = s.costOf(s.residual)
	return true
}

// medianScale is the standard deviation that Gaussian residuals of this median size would have, with the loss of
// degrees of freedom made good on average.
func (s *Solver) medianScale() float64 {
	free := s.rows - s.cols
	if free < 1 {
		return 0
	}
	sorted := s.raw // free for use between evaluations
	for i := range sorted {
		sorted[i] = math.Abs(s.residual[i])
	}
	slices.Sort(sorted)
	median := (sorted[(s.rows-1)/2] + sorted[s.rows/2]) / 2
	return normalMAD * median * math.Sqrt(float64(s.rows)/float64(free))
}

// normalMAD is the standard deviation of a Gaussian over its median absolute value: 1/Phi^-1(3/4).
const normalMAD = 1.4826022185056018
