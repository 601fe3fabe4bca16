package variator

import (
	"math"
	"slices"

	"trunnion/tuning/lsq"
	"trunnion/tuning/units"
)

// candidate is one law fitted to readings.
type candidate struct {
	law      lawOf
	data     *readingData   // all readings
	kept     []int          // the readings that the fit rests on
	fitted   *readingData   // these
	result   lsq.Result     // of the fit, residuals over the claimed errors
	scale    float64        // robust: standard deviation of a residual over its claimed error
	prior    units.Estimate // of the gain's size; no StdErr, no prior
	helped   bool           // a rough guess at the rate had to hold what the readings leave open
	solver   *lsq.Solver
	residual []float64 // room for residuals of all readings
	by       []float64 // room for derivatives
}

func newCandidate(l lawOf, d *readingData, prior units.Estimate, solver *lsq.Solver) *candidate {
	if !l.isBall() {
		prior = units.Estimate{}
	}
	return &candidate{
		law: l, data: d, prior: prior, solver: solver,
		residual: make([]float64, d.len()), by: make([]float64, l.count()),
	}
}

// problem is the law on some of the readings.
func (l lawOf) problem(d *readingData) lsq.Problem {
	n := l.count()
	spare := make([]float64, n)
	lower, upper := l.bounds()
	lower = append(lower, -unbounded, 0) // centre; the onset is no less than nothing
	upper = append(upper, unbounded, unbounded)
	for range l.terms.count() {
		lower, upper = append(lower, -unbounded), append(upper, unbounded)
	}
	return lsq.Problem{
		Names: l.names(),
		Rows:  d.len(),
		Sigma: d.sigma,
		Lower: lower,
		Upper: upper,
		Residual: func(dst, theta []float64) {
			for i, p := range d.pulse {
				u, _ := l.ratio(theta, p, d.way[i], spare)
				dst[i] = u - d.ratio[i]
			}
		},
		Jacobian: func(dst, theta []float64) {
			for i, p := range d.pulse {
				l.ratio(theta, p, d.way[i], dst[i*n:(i+1)*n])
			}
		},
	}
}

// spareReadings is how many more readings than parameters a law needs; fewer leave AICc undefined.
const spareReadings = 3

// fitKept is the final fit, to the given readings, from the parameters so far. Errors are scaled by the residuals.
func (c *candidate) fitKept(kept []int) bool {
	if len(kept) < c.law.count()+spareReadings {
		return false
	}
	fitted := c.data.pick(kept)
	problem := c.law.problem(fitted)
	opt := lsq.Defaults()
	opt.Noise = lsq.ScaledByResiduals
	opt.MaxIterations, opt.Attempts = 50, 1
	opt.StepTol, opt.CostTol, opt.PolishSteps = 1e-9, 1e-13, 3
	fit, err := c.solver.Fit(problem, c.result.Params, opt)
	if err != nil {
		return false
	}
	if c.prior.StdErr > 0 {
		fit, err = c.withPriors(problem, fit, []lsq.Prior{{Param: 0, Mean: math.Copysign(c.prior.Value, fit.Params[0]), StdErr: c.prior.StdErr}})
	}
	if err != nil || !c.sound(&fit) {
		return false // a law whose parameters the readings do not determine is no candidate
	}
	c.result, c.kept, c.fitted = fit, kept, fitted
	return true
}

// sound tells whether a fit found a minimum inside the law's bounds.
func (c *candidate) sound(fit *lsq.Result) bool {
	for _, name := range fit.AtBound {
		if name != parOnset {
			return false
		}
	}
	return fit.Status == lsq.Converged
}

// withPriors fits once more with knowledge from elsewhere. A prior's error is absolute, so the readings' must be known:
// it is their claimed error times the scatter that the residuals show, found in a few rounds.
func (c *candidate) withPriors(problem lsq.Problem, fit lsq.Result, priors []lsq.Prior) (lsq.Result, error) {
	claimed := problem.Sigma
	free := math.Max(float64(problem.Rows-len(problem.Names)), 1)
	problem.Sigma = make([]float64, len(claimed))
	problem.Priors = priors
	opt := lsq.Defaults()
	opt.MaxIterations, opt.Attempts, opt.PolishSteps = 100, 1, 3
	chi := sumOfSquares(fit.Residuals)
	for range 3 {
		scale := math.Sqrt(chi / free)
		if !(scale > 0) {
			scale = 1
		}
		for i, s := range claimed {
			problem.Sigma[i] = s * scale
		}
		again, err := c.solver.Fit(problem, fit.Params, opt)
		if err != nil {
			return again, err
		}
		for i := range again.Residuals {
			again.Residuals[i] *= scale
		}
		again.ChiSquare *= scale * scale // the priors' rows in the readings' claimed errors
		again.Scale, again.DOF = scale, problem.Rows-len(problem.Names)
		fit, chi = again, sumOfSquares(again.Residuals)
	}
	return fit, nil
}

func sumOfSquares(v []float64) (sum float64) {
	for _, x := range v {
		sum += x * x
	}
	return sum
}

// helpedBy fits with a rough guess at the rate, for a law that was asked for and whose rate the readings leave open:
// the outermost reading lies at a tilt of about one radian, give or take as much (usable tilt is about 60 degrees by
// common practice).
func (c *candidate) helpedBy(kept []int, reach float64) bool {
	rate := slices.Index(c.law.parameters(), parRate)
	if rate < 0 || len(kept) < c.law.count()+spareReadings {
		return false
	}
	fitted := c.data.pick(kept)
	problem := c.law.problem(fitted)
	opt := lsq.Defaults()
	opt.Noise = lsq.ScaledByResiduals
	opt.MaxIterations, opt.Attempts = 50, 1
	fit, err := c.solver.Fit(problem, c.result.Params, opt)
	if err != nil {
		return false
	}
	fit.Params = slices.Clone(c.result.Params)
	fit, err = c.withPriors(problem, fit, []lsq.Prior{{Param: rate, Mean: 1 / reach, StdErr: 1 / reach}})
	if err != nil || !c.sound(&fit) {
		return false
	}
	c.result, c.kept, c.fitted, c.helped = fit, kept, fitted, true
	return true
}

// leverage is the variance of the fitted curve at reading i over that of the reading.
func (c *candidate) leverage(i int) float64 {
	c.law.ratio(c.result.Params, c.data.pulse[i], c.data.way[i], c.by)
	h := c.result.StdErrOf(c.by) / (c.data.sigma[i] * c.result.Scale)
	if math.IsNaN(h) || math.IsInf(h, 0) {
		return 0
	}
	return h * h
}

// sumSquares of the kept readings' residuals over their claimed errors.
func (c *candidate) sumSquares() float64 { return sumOfSquares(c.result.Residuals) }

// aicc is Akaike's criterion with the correction for few readings, the noise scale counted as a parameter. Only
// differences on the same readings mean anything. What a prior objects counts as misfit.
func (c *candidate) aicc() float64 {
	return akaike(len(c.kept), c.law.count(), c.result.ChiSquare)
}

func akaike(readings, parameters int, sumSquares float64) float64 {
	n, k := float64(readings), float64(parameters+1)
	const perfect = 1e-30 // readings without noise, as in an exercise, must not make it infinite
	return n*math.Log(math.Max(sumSquares/n, perfect)) + 2*k + 2*k*(k+1)/(n-k-1)
}

func (c *candidate) lackOfFit() *LackOfFit {
	return lackOfFit(c.fitted, c.law.count(), c.sumSquares())
}
