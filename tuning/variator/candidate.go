package variator

import (
	"math"
	"slices"

	"trunnion/tuning/lsq"
	"trunnion/tuning/units"
)

// candidate is one law fitted to readings.
type candidate struct {
	law       lawOf
	data      *readingData   // all readings
	kept      []int          // the readings that the fit rests on
	fitted    *readingData   // these
	result    lsq.Result     // of the fit, residuals over the claimed errors
	scale     float64        // robust: standard deviation of a residual over its claimed error
	prior     units.Estimate // of the gain's size; no StdErr, no prior
	wheelsOff *float64       // see Model.WheelsOff
	solver    *lsq.Solver
	residual  []float64 // room for residuals of all readings
	by        []float64 // room for derivatives
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
	least := 0.0 // the onset is no less than nothing, unless friction makes the dead band
	if l.terms.friction {
		least = -unbounded
	}
	lower = append(lower, -unbounded, least) // centre, onset
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
	fit, err := c.solver.Fit(problem, c.law.withinReach(fitted, c.result.Params), opt)
	if err != nil {
		return false
	}
	if c.prior.StdErr > 0 {
		fit = c.hearWheels(problem, fit)
	}
	if !c.sound(&fit) {
		return false // a law whose parameters the readings do not determine is no candidate
	}
	c.result, c.kept, c.fitted = fit, kept, fitted
	return true
}

// wheelsBelieved is how many standard errors the gain of the readings may lie from the wheels before the readings are
// believed alone: a slip of the pen in a rig file must not bend the curve.
const wheelsBelieved = 3

// hearWheels fits with what the wheels say of the gain, unless the readings contradict them. How far apart the two are
// is told by how much the sum of squares rises, which holds where the gain is so open that its standard error does not.
func (c *candidate) hearWheels(problem lsq.Problem, alone lsq.Result) lsq.Result {
	prior := lsq.Prior{Param: 0, Mean: math.Copysign(c.prior.Value, alone.Params[0]), StdErr: c.prior.StdErr}
	heard, err := c.withPriors(problem, alone, []lsq.Prior{prior})
	if err != nil || heard.StdErr == nil {
		return alone
	}
	scale := sumOfSquares(alone.Residuals) / math.Max(float64(problem.Rows-len(problem.Names)), 1)
	off := math.Sqrt(math.Max(heard.ChiSquare-alone.ChiSquare, 0) / math.Max(scale, math.SmallestNonzeroFloat64))
	off = math.Copysign(math.Min(off, 1e6), math.Abs(alone.Params[0])-c.prior.Value)
	c.wheelsOff = &off
	if math.Abs(off) > wheelsBelieved {
		return alone
	}
	return heard
}

// withinReach lowers the rate until the law reaches all readings: a fit to some of them may have its pole among the others.
func (l lawOf) withinReach(d *readingData, theta []float64) []float64 {
	rate := slices.Index(l.parameters(), parRate)
	by := make([]float64, l.count())
	reaches := func() bool {
		for i, p := range d.pulse {
			if u, _ := l.ratio(theta, p, d.way[i], by); math.IsNaN(u) {
				return false
			}
		}
		return true
	}
	for tries := 0; rate >= 0 && tries < 20 && !reaches(); tries++ {
		theta = slices.Clone(theta)
		theta[rate] *= 0.95
	}
	return theta
}

// sound tells whether a fit found a minimum inside the law's bounds. It may have stalled at one: where a reading lies on
// the very edge, the curve has a kink there that the derivatives do not foretell.
func (c *candidate) sound(fit *lsq.Result) bool {
	for _, name := range fit.AtBound {
		if name != parOnset {
			return false
		}
	}
	if fit.Status != lsq.Converged && fit.Status != lsq.Stalled || fit.StdErr == nil {
		return false
	}
	for _, side := range []float64{-1, 1} { // a side must not begin beyond the centre
		if e, ok := c.law.outTo(fit.Params, 0, side); !ok || c.law.onset(fit.Params)+e < 0 {
			return false
		}
	}
	return true
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

// fitHelped fits a law that was asked for although the readings leave its gain and rate open but for their product: with
// a rough guess at the gain of 1, give or take as much, because wheels and arms that fit each other are of a size.
func (c *candidate) fitHelped(kept []int) bool {
	if !slices.Contains(c.law.parameters(), parRate) || len(kept) < c.law.count()+spareReadings {
		return false
	}
	fitted := c.data.pick(kept)
	problem := c.law.problem(fitted)
	opt := lsq.Defaults()
	opt.MaxIterations, opt.Attempts = 50, 1
	start := c.withGain(fitted, 1)
	fit, err := c.solver.Fit(problem, start, opt) // for its residuals alone
	if err != nil {
		return false
	}
	fit.Params = start
	fit, err = c.withPriors(problem, fit, []lsq.Prior{{Param: 0, Mean: math.Copysign(1, start[0]), StdErr: 1}})
	if err != nil || !c.sound(&fit) {
		return false
	}
	c.result, c.kept, c.fitted = fit, kept, fitted
	return true
}

// withGain are the parameters so far with another size of the gain, the slope at the edge kept.
func (c *candidate) withGain(fitted *readingData, gain float64) []float64 {
	start := slices.Clone(c.result.Params)
	rate := slices.Index(c.law.parameters(), parRate)
	start[rate] *= math.Abs(start[0]) / gain
	start[0] = math.Copysign(gain, start[0])
	return c.law.withinReach(fitted, start)
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
