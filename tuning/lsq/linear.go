package lsq

// LinearProblem is a linear least squares problem: readings y near design times parameters.
type LinearProblem struct {
	Names  []string
	Design []float64 // len(Y) x len(Names), by rows
	Y      []float64
	Sigma  []float64 // as in Problem
	Priors []Prior
}

// FitLinear solves a linear problem by one QR factorisation and one step of refinement, with the same covariance,
// rank and noise rules as Fit.
func FitLinear(problem LinearProblem, noise Noise) (Result, error) {
	n := len(problem.Names)
	if len(problem.Design) != n*len(problem.Y) {
		return Result{}, problemError("Design", "%d entries for %d readings and %d parameters",
			len(problem.Design), len(problem.Y), n)
	}
	full := Problem{
		Names:  problem.Names,
		Rows:   len(problem.Y),
		Sigma:  problem.Sigma,
		Priors: problem.Priors,
		Residual: func(dst, params []float64) {
			for i := range dst {
				dst[i] = dotMinus(problem.Design[i*n:(i+1)*n], params, problem.Y[i])
			}
		},
		Jacobian: func(dst, _ []float64) { copy(dst, problem.Design) },
	}
	opt := Defaults()
	opt.Noise = noise
	start := make([]float64, n)
	if err := full.validate(start, noise); err != nil {
		return Result{}, err
	}
	var s Solver
	s.prepare(full, start, opt)
	return s.result(s.solveLinear()), nil
}

// solveLinear takes Gauss-Newton steps until they no longer shrink; the first solves, the others refine.
func (s *Solver) solveLinear() Status {
	if !s.evaluate(s.residual, s.params) {
		return BadStart
	}
	s.cost = s.costOf(s.residual)
	s.summary.InitialCost = s.cost
	s.summary.Stop = StopLinear
	s.lin.forgetScaling()
	s.polish()
	s.summary.Iterations, s.summary.PolishSteps = 1, max(0, s.summary.PolishSteps-1)
	s.summary.FinalCost = s.cost
	return Converged
}
