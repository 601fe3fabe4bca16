package lsq

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Result is what a fit found. Parameters are in the order of Problem.Names.
type Result struct {
	Names  []string
	Params []float64
	// StdErr and Covariance hold under Noise; nil when they could not be had (see Status). The entries of a parameter
	// in AtBound are zero: it was held there, which is no statement of its error.
	StdErr     []float64
	Covariance [][]float64
	Noise      Noise
	// Residuals are the readings' residuals over Problem.Sigma. Weights are the shares of their pull that a robust loss
	// left them, nil for plain squares.
	Residuals []float64
	Weights   []float64
	// ChiSquare is the sum of squares of Residuals and of the priors' rows.
	ChiSquare float64
	// DOF is the number of rows less the number of free parameters.
	DOF int
	// Scale is the standard deviation of an entry of Residuals on which the standard errors rest: 1 for KnownSigma
	// with plain squares, else estimated.
	Scale float64
	// RobustScale is the scale in which a robust loss judged the residuals; 1 for plain squares.
	RobustScale float64
	// Unidentified names the parameters that the readings do not determine (Status RankLoss).
	Unidentified []string
	// AtBound names the parameters held at a bound.
	AtBound []string
	Status  Status
	Summary Summary
}

// result gathers what the solver holds. Nothing in it shares memory with the solver.
func (s *Solver) result(status Status) Result {
	result := Result{
		Names:       s.problem.Names,
		Params:      slices.Clone(s.params),
		Noise:       s.opt.Noise,
		Residuals:   slices.Clone(s.residual[:s.rows]),
		ChiSquare:   sumSquares(s.residual),
		RobustScale: s.scale,
		Status:      status,
	}
	if s.opt.Loss.Robust() {
		result.Weights = make([]float64, s.rows)
		for i, f := range result.Residuals {
			result.Weights[i] = s.opt.Loss.weight(f / s.scale)
		}
	}
	if status != BadStart {
		s.uncertainty(&result)
	}
	if status == Converged && result.Unidentified != nil {
		result.Status = RankLoss
	}
	s.summary.Status = result.Status
	result.Summary = s.summary
	return result
}

// Correlation is the matrix of correlation coefficients; nil without a covariance. Rows of parameters at a bound are
// zero but for their diagonal.
func (r *Result) Correlation() [][]float64 {
	if r.Covariance == nil {
		return nil
	}
	n := len(r.Params)
	corr := square(n)
	for i := range n {
		for j := range n {
			if d := r.StdErr[i] * r.StdErr[j]; d > 0 {
				corr[i][j] = r.Covariance[i][j] / d
			}
		}
		corr[i][i] = 1
	}
	return corr
}

// StdErrOf is the standard error of a quantity with the given gradient by the parameters (the delta method). NaN
// without a covariance.
func (r *Result) StdErrOf(gradient []float64) float64 {
	if r.Covariance == nil {
		return math.NaN()
	}
	return QuadraticStdErr(r.Covariance, gradient)
}

// QuadraticStdErr is sqrt(g' C g), the standard error of a quantity with gradient g by parameters of covariance C.
func QuadraticStdErr(covariance [][]float64, gradient []float64) float64 {
	sum := 0.0
	for i, gi := range gradient {
		for j, gj := range gradient {
			sum += gi * covariance[i][j] * gj
		}
	}
	return math.Sqrt(math.Max(sum, 0))
}

// Quantile is the factor on a standard error that gives a two-sided interval of the given level, such as 0.95: the
// normal one for known standard deviations, Student's with DOF degrees of freedom where the scale was estimated.
func (r *Result) Quantile(level float64) float64 {
	p := (1 + level) / 2
	if r.ScaleKnown() {
		return distuv.UnitNormal.Quantile(p)
	}
	if r.DOF < 1 {
		return math.Inf(1)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(r.DOF)}.Quantile(p)
}

// ScaleKnown tells whether the standard errors rest on known standard deviations alone.
func (r *Result) ScaleKnown() bool { return r.Noise == KnownSigma && !r.Summary.Loss.Robust() }
