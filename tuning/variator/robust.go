package variator

import (
	"cmp"
	"math"
	"slices"

	"trunnion/tuning/lsq"
)

// coarse options are for fits on the way, where the last digits are of no use.
func coarse() lsq.Options {
	opt := lsq.Defaults()
	opt.PolishSteps, opt.StepTol, opt.CostTol, opt.GradientTol = 0, 1e-4, 1e-6, 1e-6
	opt.MaxIterations, opt.Attempts = 15, 1
	return opt
}

// concentrated is a fit to the best-agreeing readings, and the trimmed sum of squares with it.
type concentrated struct {
	fit     lsq.Result
	members []int
	score   float64
}

const (
	fewStarts    = 3   // that are followed in any case, the best-looking first, unless one agrees
	agreeing     = 1.5 // robust scale up to which a fit has found what there is to find
	concentrates = 10  // rounds at most
)

// search finds a law's parameters from readings some of which may be wild. It fits the three quarters of the readings
// that agree best, again and again until these no longer change (concentration, as in FAST-LTS). The starts are ranked
// by how well they already agree; the first few are followed, and no more once one agrees within the claimed errors.
// False where the law cannot be fitted.
func (c *candidate) search(starts [][]float64) bool {
	keep := c.core()
	var list []concentrated
	for _, theta := range starts {
		if score := c.trimmedSum(theta, keep); !math.IsNaN(score) {
			list = append(list, concentrated{fit: lsq.Result{Params: theta}, score: score})
		}
	}
	slices.SortStableFunc(list, func(a, b concentrated) int { return cmp.Compare(a.score, b.score) })
	best := math.Inf(1)
	for k, from := range list {
		if k >= fewStarts && c.kept != nil || c.kept != nil && c.scale <= agreeing {
			break
		}
		from.score = math.Inf(1)
		if end := c.concentrate(from, keep); end.members != nil && end.score < best {
			c.result, c.kept, best = end.fit, end.members, end.score
			c.scale = c.robustScale()
		}
	}
	return c.kept != nil
}

// core is how many readings concentration fits: three quarters.
func (c *candidate) core() int {
	return min(max((3*c.data.len()+3)/4, c.law.count()+spareReadings), c.data.len())
}

// concentrate repeats fits to the best-agreeing readings as long as that betters the trimmed sum of squares.
func (c *candidate) concentrate(from concentrated, keep int) concentrated {
	for range concentrates {
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

// residuals over claimed errors, at theta, for all readings; in the candidate's own room.
func (c *candidate) residuals(theta []float64) []float64 {
	for i, p := range c.data.pulse {
		u, _ := c.law.ratio(theta, p, c.data.way[i], c.by)
		r := (c.data.ratio[i] - u) / c.data.sigma[i]
		if math.IsNaN(r) {
			r = math.Inf(1)
		}
		c.residual[i] = r
	}
	return c.residual
}

func (c *candidate) bestAgreeing(theta []float64, keep int) []int {
	r := c.residuals(theta)
	order := make([]int, len(r))
	for i := range order {
		order[i] = i
		r[i] = math.Abs(r[i])
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(r[a], r[b]) })
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
	kept := make([]int, 0, c.data.len())
	among := c.kept
	for i, r := range c.residuals(c.result.Params) {
		allowed := limit * math.Max(c.scale, 1)
		if len(among) > 0 && among[0] == i {
			among = among[1:]
		} else if c.result.Covariance != nil {
			allowed *= math.Sqrt(1 + c.leverage(i))
		}
		if math.Abs(r) <= allowed {
			kept = append(kept, i)
		}
	}
	return kept
}
