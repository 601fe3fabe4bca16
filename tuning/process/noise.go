package process

import "math"

// walkFilter turns readings with independent noise of variance 1 and a random walk of variance wander a second into
// independent ones of variance 1. The start of the walk is unknown, so the first entry becomes 0: it is spent on the
// offset. With wander 0 the result spans the same as the readings less their mean. Its gains depend on the times only, so
// they are computed once for all columns.
type walkFilter struct {
	gain, scale []float64 // of the level's correction; and of the innovation
	logTotals   float64   // half the sum of the logarithms of the innovations' variances, which the likelihood needs
}

// set computes the gains.
func (f *walkFilter) set(timeS []float64, wander float64) {
	if len(f.gain) != len(timeS) {
		f.gain, f.scale = make([]float64, len(timeS)), make([]float64, len(timeS))
	}
	product, logs, variance := 1.0, 0.0, 1.0
	for j := 1; j < len(timeS); j++ {
		variance += wander * (timeS[j] - timeS[j-1])
		total := variance + 1
		f.gain[j] = variance / total
		f.scale[j] = 1 / math.Sqrt(total)
		variance = f.gain[j]
		if product *= total; product > 1e200 {
			logs, product = logs+math.Log(product), 1
		}
	}
	f.logTotals = (logs + math.Log(product)) / 2
}

func (f *walkFilter) whiten(dst, src []float64) {
	dst[0] = 0
	level := src[0]
	gain, scale := f.gain[:len(src)], f.scale[:len(src)]
	dst = dst[:len(src)]
	for j := 1; j < len(src); j++ {
		innovation := src[j] - level
		dst[j] = innovation * scale[j]
		level += gain[j] * innovation
	}
}

const (
	wanderLeast = 1e-3 // variance of the walk in a second over that of a reading; less cannot be told from none
	wanderMost  = 1e8  // more cannot be told from walk alone
	wanderGrid  = 12
	wanderNear  = 3.0  // a second estimate is looked for within this factor of the first
	wanderFine  = 0.03 // the logarithm is found to this: a tenth of its own error or less
)

// estimateWander is the proportion of wander that makes the readings of all records most likely, given gain, dead time and
// lag. The step's own columns are fitted anew for each proportion tried, and the likelihood is the restricted one: without
// it the wander that these columns take up would be missed (Patterson and Thompson, Biometrika 58 (1971) 545; from
// memory). It leaves the records whitened for the last one
// tried.
//
// about is an earlier estimate, near which it looks first; 0 is none.
func estimateWander(records []*record, p [parameters]float64, about float64) float64 {
	for _, r := range records {
		r.fill(&r.raw, p[deadAt], p[lagAt])
	}
	cost := func(wander float64) float64 {
		sum, logs, rows := 0.0, 0.0, 0
		for _, r := range records {
			r.whiten(wander)
			r.filter(r.clean.answer, r.raw.answer)
			r.project(r.clean.answer)
			for j, v := range r.clean.answer {
				e := p[gainAt]*v - r.white[j]
				sum += e * e
			}
			logs += r.walk.logTotals + r.spread
			rows += r.rows() - len(r.basis)
		}
		return float64(rows)/2*math.Log(sum) + logs
	}
	if about > 0 {
		low, high := about/wanderNear, about*wanderNear
		if w := goldenLog(cost, low, high, wanderFine); w > 1.1*low && w < high/1.1 {
			return w
		}
	}
	best, bestCost := 0.0, cost(0)
	step := math.Pow(wanderMost/wanderLeast, 1.0/(wanderGrid-1))
	for k := range wanderGrid {
		w := wanderLeast * math.Pow(step, float64(k))
		if c := cost(w); c < bestCost {
			best, bestCost = w, c
		}
	}
	if best == 0 {
		return 0
	}
	return goldenLog(cost, best/step, best*step, wanderFine)
}

// goldenLog is the minimum of f between a and b by golden section on the logarithm, to a width of it.
func goldenLog(f func(float64) float64, a, b, width float64) float64 {
	const share = 0.6180339887498949
	lo, hi := math.Log(a), math.Log(b)
	c, d := hi-share*(hi-lo), lo+share*(hi-lo)
	fc, fd := f(math.Exp(c)), f(math.Exp(d))
	for hi-lo > width {
		if fc < fd {
			hi, d, fd = d, c, fc
			c = hi - share*(hi-lo)
			fc = f(math.Exp(c))
		} else {
			lo, c, fc = c, d, fd
			d = lo + share*(hi-lo)
			fd = f(math.Exp(d))
		}
	}
	return math.Exp((lo + hi) / 2)
}

// longVariance is the Newey-West estimate of the covariance of sum over j of g_j e_j, where g_j are rows of gradients and
// e_j residuals, in the units of the latter. Beyond the given lag no correlation is looked for.
func longVariance(gradients [parameters][]float64, e []float64, lag int) [parameters][parameters]float64 {
	var sum [parameters][parameters]float64
	n := len(e)
	for l := 0; l <= min(lag, n-1); l++ {
		weight := 1 - float64(l)/float64(lag+1)
		for a := range parameters {
			for b := range parameters {
				c := 0.0
				for j := l; j < n; j++ {
					c += gradients[a][j] * e[j] * gradients[b][j-l] * e[j-l]
				}
				sum[a][b] += weight * c
				if l > 0 {
					sum[b][a] += weight * c
				}
			}
		}
	}
	return sum
}
