package variator

import (
	"math"
	"slices"

	"trunnion/tuning/lsq"
)

// candidate is one law fitted to readings.
type candidate struct {
	law    lawOf
	data   *readingData // all readings
	kept   []int        // those that the fit rests on
	result lsq.Result
	scale  float64 // robust: standard deviation of a residual over its claimed error
	solver *lsq.Solver
}

// problem is the law on some of the readings.
func (l lawOf) problem(d *readingData) lsq.Problem {
	n := l.count()
	spare := make([]float64, n)
	lower := make([]float64, n)
	for j := range lower {
		lower[j] = math.Inf(-1)
	}
	lower[l.shapeCount+1] = 0 // the onset
	return lsq.Problem{
		Names: l.names(),
		Rows:  d.len(),
		Sigma: d.sigma,
		Lower: lower,
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
	opt.MaxIterations = 40
	return opt
}

// fitRobust fits a law to readings some of which may be wild, without any guess. From the best starts it fits the
// three quarters of the readings that agree best, again and again until these no longer change (concentration, as in
// FAST-LTS), keeps the best end, and then takes in all readings within a limit of it.
func fitRobust(s shape, d *readingData, limit float64) (*candidate, bool) {
	c := &candidate{law: newLaw(s, d.hysteresis), data: d, solver: new(lsq.Solver)}
	best, bestScore := []float64(nil), math.Inf(1)
	starts := c.law.starts(d)
	for _, from := range starts[:min(len(starts), 3)] {
		if theta, score := c.concentrate(from.theta); score < bestScore {
			best, bestScore = theta, score
		}
	}
	if best == nil {
		return nil, false
	}
	c.scale = c.robustScale(best)
	return c, c.reweigh(best, limit)
}

// concentrate repeats fits to the best-agreeing three quarters and returns where that ends, with the trimmed sum of
// squares there.
func (c *candidate) concentrate(theta []float64) ([]float64, float64) {
	keep := (3*c.data.len() + 3) / 4
	score := math.Inf(1)
	for range 8 {
		best := c.bestAgreeing(theta, keep)
		fit, err := c.solver.Fit(c.law.problem(c.data.pick(best)), theta, coarse())
		if err != nil || fit.Status == lsq.BadStart {
			break
		}
		next := c.trimmedSum(fit.Params, keep)
		if !(next < score*(1-1e-6)) {
			break
		}
		theta, score = fit.Params, next
	}
	return theta, score
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
	slices.SortStableFunc(order, func(a, b int) int {
		switch ra, rb := math.Abs(r[a]), math.Abs(r[b]); {
		case ra < rb:
			return -1
		case ra > rb:
			return 1
		}
		return 0
	})
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
func (c *candidate) robustScale(theta []float64) float64 {
	r := c.residuals(theta)
	for i := range r {
		r[i] = math.Abs(r[i])
	}
	n := float64(len(r))
	free := math.Max(n-float64(c.law.count()), 1)
	return 1.4826 * median(r) * math.Sqrt(n/free)
}

// reweigh fits all readings within limit of the curve, until that set stays the same.
func (c *candidate) reweigh(theta []float64, limit float64) bool {
	var last []int
	for range 10 {
		within := c.within(theta, limit)
		if slices.Equal(within, last) {
			return true
		}
		if len(within) < c.law.count()+1 || !c.fitKept(theta, within) {
			return false
		}
		theta, last = c.result.Params, within
		c.scale = c.robustScale(theta)
	}
	return true
}

// within are the readings whose residual is no wilder than limit standard deviations. Claimed errors that are too
// small must not make every reading an outlier, nor lucky agreement of most readings throw out the rest, so the
// standard deviation is the residuals' own, but no less than claimed.
func (c *candidate) within(theta []float64, limit float64) []int {
	var kept []int
	for i, r := range c.residuals(theta) {
		if math.Abs(r) <= limit*math.Max(c.scale, 1) {
			kept = append(kept, i)
		}
	}
	return kept
}

// fitKept is the final fit, to the given readings. Errors are scaled by the residuals.
func (c *candidate) fitKept(theta []float64, kept []int) bool {
	opt := lsq.Defaults()
	opt.Noise = lsq.ScaledByResiduals
	opt.MaxIterations = 200
	fit, err := c.solver.Fit(c.law.problem(c.data.pick(kept)), theta, opt)
	if err != nil || fit.Status != lsq.Converged {
		return false // a law whose parameters the readings do not determine is no candidate
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
	if n-k-1 <= 0 {
		return math.Inf(1)
	}
	return n*math.Log(sumSquares/n) + 2*k + 2*k*(k+1)/(n-k-1)
}
