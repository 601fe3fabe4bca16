package process

import "math"

// whitenWalk turns readings with independent noise of variance 1 and a random walk of variance wander a second into
// independent ones of variance 1. The start of the walk is unknown, so the first entry becomes 0: it is spent on the
// offset. With wander 0 the result spans the same as the readings less their mean.
func whitenWalk(dst, src, timeS []float64, wander float64) {
	dst[0] = 0
	level, variance := src[0], 1.0
	for j := 1; j < len(src); j++ {
		variance += wander * (timeS[j] - timeS[j-1])
		innovation := src[j] - level
		total := variance + 1
		dst[j] = innovation / math.Sqrt(total)
		gain := variance / total
		level += gain * innovation
		variance *= 1 - gain
	}
}

// logTotals is half the sum of the logarithms of the innovations' variances, which the likelihood needs.
func logTotals(timeS []float64, wander float64) float64 {
	sum, variance := 0.0, 1.0
	for j := 1; j < len(timeS); j++ {
		variance += wander * (timeS[j] - timeS[j-1])
		total := variance + 1
		sum += math.Log(total)
		variance *= 1 - variance/total
	}
	return sum / 2
}

const (
	wanderLeast = 1e-3 // variance of the walk in a second over that of a reading; less cannot be told from none
	wanderMost  = 1e8  // more cannot be told from walk alone
	wanderGrid  = 23
)

// estimateWander is the proportion of wander that makes the readings of all records most likely, given gain, dead time and
// lag. The step's own columns are fitted anew for each proportion tried, and the likelihood is the restricted one: without
// it the wander that these columns take up would be missed (Patterson and Thompson, Biometrika 58 (1971) 545; from
// memory). It leaves the records whitened for the last one
// tried.
func estimateWander(records []*record, p [parameters]float64) float64 {
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
			logs += logTotals(r.timeS, wander) + r.spread
			rows += r.rows() - len(r.basis)
		}
		return float64(rows)/2*math.Log(sum) + logs
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
	return goldenLog(cost, best/step, best*step)
}

// goldenLog is the minimum of f between a and b by golden section on the logarithm.
func goldenLog(f func(float64) float64, a, b float64) float64 {
	const share = 0.6180339887498949
	lo, hi := math.Log(a), math.Log(b)
	c, d := hi-share*(hi-lo), lo+share*(hi-lo)
	fc, fd := f(math.Exp(c)), f(math.Exp(d))
	for hi-lo > 1e-3 {
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
