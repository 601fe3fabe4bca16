package lsq

import "math"

// Solver fits problems and keeps its buffers, so that many fits of one shape allocate little beyond their results.
// The zero value is ready. It must not be shared between goroutines.
type Solver struct {
	problem Problem
	opt     Options
	rows    int // residuals of the readings
	total   int // and those of the priors
	cols    int // parameters
	scale   float64

	params, trial     []float64 // cols
	residual, trialRe []float64 // total, standardised: over sigma, not over the robust scale
	raw               []float64 // rows, as the problem writes them
	jac               []float64 // rows x cols, as the problem writes them

	lin    linearisation
	region region
	diff   difference
	bent   bent

	radius  float64
	cost    float64
	summary Summary
}

// Fit fits problem from start with a Solver of its own.
func Fit(problem Problem, start []float64, opt Options) (Result, error) {
	var s Solver
	return s.Fit(problem, start, opt)
}

// Fit fits problem from start. The error is a *ProblemError: the fit could not be set up. How it ended is Result.Status.
func (s *Solver) Fit(problem Problem, start []float64, opt Options) (Result, error) {
	if err := opt.Validate(); err != nil {
		return Result{}, err
	}
	if err := problem.validate(start, opt.Noise); err != nil {
		return Result{}, err
	}
	s.prepare(problem, start, opt)
	if err := s.checkWritten(); err != nil {
		return Result{}, err
	}
	result := s.result(s.solve())
	for attempt := 1; attempt < opt.Attempts && !determined(&result, start); attempt++ {
		result = s.again(result, problem, start, opt, otherRadii[attempt-1])
	}
	return result, nil
}

// otherRadii are the first radii of further attempts, as multiples of the first one's. Where the first step of one
// leaps onto a plateau or leads into a blind valley, that of another often does not.
var otherRadii = [...]float64{30, 1.0 / 3, 5, 1.0 / 30, 3, 1.0 / 10}

// again starts once more with another radius and returns the better of both results.
func (s *Solver) again(first Result, problem Problem, start []float64, opt Options, radius float64) Result {
	opt.InitialRadius *= radius
	s.prepare(problem, start, opt)
	second := s.result(s.solve())
	better, worse := first, second
	if second.Summary.FinalCost < first.Summary.FinalCost {
		better, worse = second, first
	}
	better.Summary.addEffort(worse.Summary)
	return better
}

// determined tells whether a fit ended where another attempt need not look: at a minimum that determines every
// parameter, if only by its order. A start that is no point of the model would be none for another attempt either.
//
// On a plateau, where an exponential has died away, a parameter has next to no effect; rounding then hides that the
// rank is lost, and its standard error comes out many powers of ten larger than itself.
func determined(r *Result, start []float64) bool {
	const hopeless = 1e6
	if r.Status == BadStart {
		return true
	}
	if r.Status != Converged || r.StdErr == nil {
		return false
	}
	for j, e := range r.StdErr {
		if size := math.Abs(r.Params[j]) + math.Abs(start[j]); size > 0 && e > hopeless*size {
			return false
		}
	}
	return true
}

// prepare sizes the buffers and puts the start inside the bounds.
func (s *Solver) prepare(problem Problem, start []float64, opt Options) {
	s.problem, s.opt = problem, opt
	s.rows, s.cols = problem.Rows, len(problem.Names)
	s.total = s.rows + len(problem.Priors)
	s.params = resize(s.params, s.cols)
	s.trial = resize(s.trial, s.cols)
	s.residual = resize(s.residual, s.total)
	s.trialRe = resize(s.trialRe, s.total)
	s.raw = resize(s.raw, s.rows)
	s.jac = resize(s.jac, s.rows*s.cols)
	s.lin.resize(s.total, s.cols)
	s.region.resize(s.cols)
	s.diff.resize(s.rows, s.cols)
	s.bent.resize(s.total, s.cols)
	s.summary = Summary{Noise: opt.Noise, Loss: opt.Loss}
	s.scale = 1
	for j, v := range start {
		lo, hi := problem.bounds(j)
		s.params[j] = math.Min(math.Max(v, lo), hi)
	}
}

// solve runs the trust region, for a robust loss as often as its scale still moves.
func (s *Solver) solve() Status {
	if !s.evaluate(s.residual, s.params) {
		return BadStart
	}
	s.scale = s.firstScale()
	s.cost = s.costOf(s.residual)
	s.summary.InitialCost = s.cost
	status := s.minimise()
	for pass := 1; pass < maxScalePasses && !status.Early() && s.rescale(); pass++ {
		status = s.minimise()
	}
	s.summary.FinalCost = s.cost
	return status
}

// minimise is the trust region method: linearise, step within the radius, keep the step if the cost fell, and size
// the radius by how well the linear model foretold the fall. Then polish.
func (s *Solver) minimise() Status {
	s.lin.forgetScaling()
	for iteration := 1; iteration <= s.opt.MaxIterations; iteration++ {
		if !s.linearise() {
			return s.brokenJacobian(iteration)
		}
		if iteration == 1 {
			s.radius = s.firstRadius()
		}
		s.summary.Iterations++
		if s.cost == 0 {
			return s.arrived(StopZero)
		}
		if s.lin.cosine() <= s.opt.GradientTol {
			return s.arrived(StopGradient)
		}
		stop, stuck := s.descend()
		if stop != StopNone {
			return s.arrived(stop)
		}
		if stuck {
			return Stalled
		}
	}
	return IterationLimit
}

// descend tries steps from one linearisation until the cost falls, the fit has arrived, or the radius has shrunk to
// nothing.
func (s *Solver) descend() (stop Stop, stuck bool) {
	s.region.reset(&s.lin)
	for {
		s.region.step(s.radius)
		if math.IsNaN(s.region.length) || math.IsInf(s.region.length, 0) {
			return StopNone, true // the squares of a huge Jacobian overflow: no step can be had from here
		}
		predicted := s.takeStep()
		reduction, finite := s.tryStep()
		if s.summary.Iterations > bendAfter && !s.opt.Loss.Robust() {
			reduction, finite = s.bend(reduction, finite)
		}
		ratio := gainRatio(reduction, predicted, finite)
		s.resizeRadius(ratio)
		accepted := finite && reduction > 0 && ratio > 1e-4
		s.record(reduction, ratio, accepted)
		if accepted {
			s.accept()
		}
		switch {
		case math.Abs(predicted) <= s.opt.CostTol*s.cost && math.Abs(reduction) <= s.opt.CostTol*s.cost:
			return StopReduction, false
		case s.region.length <= s.opt.StepTol*s.lin.scaledNorm(s.params):
			if s.nearMinimum() {
				return StopStep, false
			}
			return StopNone, !accepted
		case accepted:
			return StopNone, false
		}
	}
}

// arrived polishes the parameters and notes why the loop ended.
func (s *Solver) arrived(stop Stop) Status {
	s.summary.Stop = stop
	if stop != StopZero {
		s.polish()
	}
	return Converged
}

// nearMinimum tells a minimum that rounding hides from a fit that only creeps: the full step is negligible too, or the
// residuals are all but at right angles to the columns.
func (s *Solver) nearMinimum() bool {
	return s.region.damping == 0 || s.lin.cosine() <= 1e-6
}

func (s *Solver) brokenJacobian(iteration int) Status {
	if iteration == 1 {
		return BadStart
	}
	return Stalled
}

// polish takes plain Gauss-Newton steps while they shrink. Near a minimum the cost no longer tells a better point
// from a worse one below about eight digits, but the step still does.
func (s *Solver) polish() {
	last := math.Inf(1)
	for range s.opt.PolishSteps {
		if !s.linearise() {
			return
		}
		s.region.reset(&s.lin)
		s.region.gaussNewton()
		if !(s.region.length < 0.9*last) {
			return
		}
		last = s.region.length
		s.takeStep()
		reduction, finite := s.tryStep()
		if !finite || reduction < -1e-9*s.cost {
			return
		}
		s.accept()
		s.summary.PolishSteps++
		if last <= s.polished()*s.lin.scaledNorm(s.params) {
			return
		}
	}
}

// polished is the relative step that is no more worth taking: rounding for plain squares. Under a robust loss the steps
// only shrink by a factor each time, and what counts is far above.
func (s *Solver) polished() float64 {
	if s.opt.Loss.Robust() {
		return 1e-10
	}
	return 1e-15
}

// takeStep moves the trial point by the region's step, cut at the bounds, and returns the reduction of the cost that
// the linear model foretells.
func (s *Solver) takeStep() (predicted float64) {
	s.pointAt(s.trial, s.params, s.region.move, 1)
	for j := range s.trial {
		s.region.move[j] = s.trial[j] - s.params[j]
	}
	return s.lin.predictedReduction(s.region.move)
}

// tryStep evaluates the trial point and returns by how much the cost falls there.
func (s *Solver) tryStep() (reduction float64, finite bool) {
	if !s.evaluate(s.trialRe, s.trial) {
		return 0, false
	}
	reduction = s.reduction(s.residual, s.trialRe)
	return reduction, !math.IsNaN(reduction) && !math.IsInf(reduction, 0)
}

// accept makes the trial point the present one.
func (s *Solver) accept() {
	s.params, s.trial = s.trial, s.params
	s.residual, s.trialRe = s.trialRe, s.residual
	s.cost = s.costOf(s.residual)
}

// gainRatio compares the actual with the foretold reduction; a step that foretells none is as bad as one that fails.
func gainRatio(reduction, predicted float64, finite bool) float64 {
	if !finite || !(predicted > 0) {
		return -1
	}
	return reduction / predicted
}

// resizeRadius shrinks the radius where the linear model misled and widens it where it was good (Moré 1978).
func (s *Solver) resizeRadius(ratio float64) {
	switch {
	case ratio < 0.25:
		s.radius = 0.25 * math.Min(s.radius, s.region.length)
	case ratio > 0.75:
		s.radius = math.Max(s.radius, 2*s.region.length)
	}
}

// firstRadius is the scaled length of the start, or 1 for a start at the origin.
func (s *Solver) firstRadius() float64 {
	if norm := s.lin.scaledNorm(s.params); norm > 0 {
		return s.opt.InitialRadius * norm
	}
	return s.opt.InitialRadius
}

func (s *Solver) record(reduction, ratio float64, accepted bool) {
	if s.opt.Recorder == nil {
		return
	}
	s.opt.Recorder.Iteration(Iteration{
		Number: s.summary.Iterations, Cost: s.cost - reduction, Ratio: ratio,
		Radius: s.radius, Damping: s.region.damping, Accepted: accepted,
	})
}

// resize returns a zeroed slice of length n, in the old one's memory where it fits.
func resize(old []float64, n int) []float64 {
	if cap(old) < n {
		return make([]float64, n)
	}
	old = old[:n]
	clear(old)
	return old
}
