package variator

import (
	"cmp"
	"math"
	"slices"

	"trunnion/tuning/lsq"
)

// candidate is one law fitted to readings.
type candidate struct {
	law    lawOf
	data   *readingData // all readings
	kept   []int        // the readings that the fit rests on
	result lsq.Result
	scale  float64 // robust: standard deviation of a residual over its claimed error
	solver *lsq.Solver
}

// problem is the law on some of the readings.
func (l lawOf) problem(d *readingData) lsq.Problem {
	n := l.count()
	spare := make([]float64, n)
	lower, upper := l.bounds()
	lower = append(lower, -unbounded, 0) // centre; the onset is no less than nothing
	upper = append(upper, unbounded, unbounded)
	if l.hysteresis {
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

// coarse options are for fits on the way, where the last digits are of no use.
func coarse() lsq.Options {
	opt := lsq.Defaults()
	opt.PolishSteps, opt.StepTol, opt.CostTol, opt.GradientTol = 0, 1e-4, 1e-6, 1e-6
	opt.MaxIterations, opt.Attempts = 15, 1
	return opt
}

// newCandidate finds a law's parameters from readings some of which may be wild, without any guess. It fits the three
// quarters of the readings that agree best, again and again until these no longer change (concentration, as in
// FAST-LTS): two rounds from every start, the rest from the three that look best. False where the law cannot be fitted.
func newCandidate(s shape, d *readingData) (*candidate, bool) {
	c := &candidate{law: newLaw(s, d.hysteresis), data: d, solver: new(lsq.Solver)}
	var tried []concentrated
	for _, theta := range c.law.starts(d) {
		if end := c.concentrate(concentrated{fit: lsq.Result{Params: theta}, score: math.Inf(1)}, 2); end.members != nil {
			tried = append(tried, end)
		}
	}
	slices.SortStableFunc(tried, func(a, b concentrated) int { return cmp.Compare(a.score, b.score) })
	best := math.Inf(1)
	for _, from := range tried[:min(len(tried), 3)] {
		if end := c.concentrate(from, 10); end.score < best {
			c.result, c.kept, best = end.fit, end.members, end.score
		}
	}
	if c.kept == nil {
		return nil, false
	}
	c.scale = c.robustScale()
	return c, true
}

// concentrated is a fit to the best-agreeing readings, and the trimmed sum of squares with it.
type concentrated struct {
	fit     lsq.Result
	members []int
	score   float64
}

// concentrate repeats fits to the best-agreeing three quarters as long as that betters the trimmed sum of squares.
func (c *candidate) concentrate(from concentrated, rounds int) concentrated {
	keep := min(max((3*c.data.len()+3)/4, c.law.count()+spareReadings), c.data.len())
	for range rounds {
		members := c.bestAgreeing(from.fit.Params, keep)
		if slices.Equal(members, from.members) {
			break
		}
		fit, err := c.solver.Fit(c.law.problem(c.data.pick(members)), from.fit.Params, coarse())
		if err != nil || fit.Status == lsq.BadStart {
			break
		}
		score := c.trimmedSum(fit.Params, keep)
		if !(score < from.score*(1-1e-6)) {
			break
		}
		from = concentrated{fit: fit, members: members, score: score}
	}
	return from
}

// residuals over claimed errors, at theta, for all readings.
func (c *candidate) residuals(theta []float64) []float64 {
	r := make([]float64, c.data.len())
	by := make([]float64, c.law.count())
	for i, p := range c.data.pulse {
		u, _ := c.law.ratio(theta, p, c.data.way[i], by)
		r[i] = (c.data.ratio[i] - u) / c.data.sigma[i]
		if math.IsNaN(r[i]) {
			r[i] = math.Inf(1)
		}
	}
	return r
}

func (c *candidate) bestAgreeing(theta []float64, keep int) []int {
	r := c.residuals(theta)
	order := make([]int, len(r))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(math.Abs(r[a]), math.Abs(r[b])) })
	order = order[:keep]
	slices.Sort(order)
	return order
}

func (c *candidate) trimmedSum(theta []float64, keep int) float64 {
	r := c.residuals(theta)
	for i := range r {
		r[i] *= r[i]
	}
	slices.Sort(r)
	sum := 0.0
	for _, v := range r[:keep] {
		sum += v
	}
	return sum
}

// robustScale is the standard deviation that Gaussian residuals of this median size would have (1/Phi^-1(3/4) =
// 1.4826), the loss of degrees of freedom made good on average.
func (c *candidate) robustScale() float64 {
	r := c.residuals(c.result.Params)
	for i := range r {
		r[i] = math.Abs(r[i])
	}
	n := float64(len(r))
	free := math.Max(n-float64(c.law.count()), 1)
	return 1.4826 * median(r) * math.Sqrt(n/free)
}

// reweigh fits all readings within limit of the curve, until that set stays the same. False where it cannot be fitted.
func (c *candidate) reweigh(limit float64) bool {
	fitted := []int(nil)
	for range 10 {
		within := c.within(limit)
		if slices.Equal(within, fitted) {
			return true
		}
		if !c.fitKept(within) {
			return false
		}
		fitted = within
		c.scale = c.robustScale()
	}
	return true
}

// within are the readings no wilder than limit standard deviations. Claimed errors that are too small must not make
// every reading an outlier, nor lucky agreement of most readings throw out the rest, so the standard deviation is the
// residuals' own, but no less than claimed. For a reading outside the fit the curve's own error there counts as well:
// few readings foretell the others badly.
func (c *candidate) within(limit float64) []int {
	var kept []int
	by := make([]float64, c.law.count())
	for i, r := range c.residuals(c.result.Params) {
		allowed := limit * math.Max(c.scale, 1)
		if !slices.Contains(c.kept, i) {
			allowed *= math.Sqrt(1 + c.leverage(i, by))
		}
		if math.Abs(r) <= allowed {
			kept = append(kept, i)
		}
	}
	return kept
}

// leverage is the variance of the fitted curve at reading i over that of the reading.
func (c *candidate) leverage(i int, by []float64) float64 {
	c.law.ratio(c.result.Params, c.data.pulse[i], c.data.way[i], by)
	h := c.result.StdErrOf(by) / (c.data.sigma[i] * c.result.Scale)
	if math.IsNaN(h) || math.IsInf(h, 0) {
		return 0
	}
	return h * h
}

// spareReadings is how many more readings than parameters a law needs; fewer leave AICc undefined.
const spareReadings = 3

// fitKept is the final fit, to the given readings, from the parameters so far. Errors are scaled by the residuals.
func (c *candidate) fitKept(kept []int) bool {
	if len(kept) < c.law.count()+spareReadings {
		return false
	}
	opt := lsq.Defaults()
	opt.Noise = lsq.ScaledByResiduals
	opt.MaxIterations, opt.Attempts = 50, 1
	fit, err := c.solver.Fit(c.law.problem(c.data.pick(kept)), c.result.Params, opt)
	if err != nil || fit.Status != lsq.Converged {
		return false // a law whose parameters the readings do not determine is no candidate
	}
	for _, name := range fit.AtBound {
		if name != parOnset {
			return false
		}
	}
	c.result, c.kept = fit, kept
	return true
}

// sumSquares of the kept readings' residuals over their claimed errors.
func (c *candidate) sumSquares() float64 { return c.result.ChiSquare }

// aicc is Akaike's criterion with the correction for few readings, the noise scale counted as a parameter. Only
// differences on the same readings mean anything.
func (c *candidate) aicc() float64 {
	return akaike(len(c.kept), c.law.count(), c.sumSquares())
}

func akaike(readings, parameters int, sumSquares float64) float64 {
	n, k := float64(readings), float64(parameters+1)
	const perfect = 1e-30 // readings without noise, as in an exercise, must not make it infinite
	return n*math.Log(math.Max(sumSquares/n, perfect)) + 2*k + 2*k*(k+1)/(n-k-1)
}
