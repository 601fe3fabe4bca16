package process

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"trunnion/tuning/lsq"
)

// UndeterminedError says that the readings do not determine the answer of the axis.
type UndeterminedError struct {
	Status lsq.Status
	Reason string
}

func (e *UndeterminedError) Error() string {
	return fmt.Sprintf("process: the step test does not determine how the axis answers (%s): %s", e.Status, e.Reason)
}

// solution is gain, dead time and lag that fit a set of records best, given their whitening.
type solution struct {
	p          [parameters]float64
	free       []int // which of the parameters were fitted
	squares    float64
	rows       int                             // independent readings
	own        int                             // parameters that are the steps' own
	covariance [parameters][parameters]float64 // for residuals of variance 1
	long       [parameters][parameters]float64 // covariance of the gradients' sum as the residuals show it
	lagOne     float64                         // autocorrelation of the residuals at one sample
}

// dof is what is left over.
func (s *solution) dof() int { return s.rows - s.own - len(s.free) }

// variance of a residual.
func (s *solution) variance() float64 { return s.squares / math.Max(float64(s.dof()), 1) }

// freeParameters are those that the settings leave to be fitted.
func freeParameters(noLag bool) []int {
	if noLag {
		return []int{gainAt, deadAt}
	}
	return []int{gainAt, deadAt, lagAt}
}

var parameterNames = [parameters]string{"gain", "dead time", "lag"}

const lagMost = 30.0 // s; an axis slower than that is not one

// solve fits the records from a start, with the errors of the fit. Their whitening must have been set.
func solve(records []*record, start [parameters]float64, free []int) (solution, error) {
	s, err := minimum(records, start, free)
	if err != nil {
		return solution{}, err
	}
	return s, s.addErrors(records)
}

// minimum is the fit without its errors: by the quick descent, or by the general solver where that does not arrive.
func minimum(records []*record, start [parameters]float64, free []int) (solution, error) {
	if p, squares, arrived := descend(records, start, free, fullyArrived); arrived {
		s := solution{p: p, free: free, squares: squares}
		return s, s.count(records, lsq.Converged)
	}
	problem, first := newProblem(records, start, free)
	options := lsq.Defaults()
	options.Noise = lsq.ScaledByResiduals
	result, err := lsq.Fit(problem, first, options)
	if err != nil {
		return solution{}, err
	}
	atKink := result.Status == lsq.Stalled && records[0].kinks // a minimum may lie where a sample meets the dead time
	if result.Status.Early() && !atKink || result.Status == lsq.RankLoss {
		return solution{}, &UndeterminedError{result.Status, "take longer records, larger steps or a quicker sample rate"}
	}
	s := solution{p: start, free: free, squares: result.ChiSquare}
	for i, a := range free {
		s.p[a] = result.Params[i]
	}
	return s, s.count(records, result.Status)
}

// count adds up the readings and fails where none is left over.
func (s *solution) count(records []*record, status lsq.Status) error {
	for _, r := range records {
		s.rows += r.rows()
		s.own += len(r.basis)
	}
	if s.dof() < 1 {
		return &UndeterminedError{status, "there are more unknowns than readings"}
	}
	return nil
}

// newProblem is the least-squares problem in the free parameters.
func newProblem(records []*record, start [parameters]float64, free []int) (lsq.Problem, []float64) {
	rows := 0
	for _, r := range records {
		rows += len(r.white)
	}
	k := len(free)
	names, opening := make([]string, k), make([]float64, k)
	lower, upper, typical := make([]float64, k), make([]float64, k), make([]float64, k)
	for i, a := range free {
		names[i], opening[i] = parameterNames[a], start[a]
		lower[i], upper[i], typical[i] = math.Inf(-1), math.Inf(1), []float64{1, 0.01, 0.01}[a]
		if a == lagAt {
			lower[i], upper[i] = 0, lagMost
		}
	}
	at := func(v []float64) [parameters]float64 {
		p := start
		for i, a := range free {
			p[a] = v[i]
		}
		return p
	}
	return lsq.Problem{
		Names: names, Rows: rows, Lower: lower, Upper: upper, Typical: typical,
		Residual: func(dst, v []float64) {
			p, row := at(v), 0
			for _, r := range records {
				c := r.model(p[deadAt], p[lagAt])
				for j := range r.white {
					dst[row] = p[gainAt]*c.answer[j] - r.white[j]
					row++
				}
			}
		},
		Jacobian: func(dst, v []float64) {
			p, row := at(v), 0
			for _, r := range records {
				c := r.model(p[deadAt], p[lagAt])
				for j := range r.white {
					all := [parameters]float64{c.answer[j], p[gainAt] * c.byDead[j], p[gainAt] * c.byLag[j]}
					for i, a := range free {
						dst[row*k+i] = all[a]
					}
					row++
				}
			}
		},
	}, opening
}

// addErrors computes the covariance for residuals of variance 1, and what the correlation left in them makes of it.
func (s *solution) addErrors(records []*record) error {
	k := len(s.free)
	var normal, long [parameters][parameters]float64
	products, pairs := 0.0, 0.0
	for _, r := range records {
		c := r.model(s.p[deadAt], s.p[lagAt])
		e := make([]float64, len(r.white))
		gradients := [parameters][]float64{c.answer, scaled(c.byDead, s.p[gainAt]), scaled(c.byLag, s.p[gainAt])}
		for j := range e {
			e[j] = s.p[gainAt]*c.answer[j] - r.white[j]
		}
		part := longVariance(gradients, e, int(math.Cbrt(float64(len(e)))))
		for a := range parameters {
			for b := range parameters {
				normal[a][b] += dot(gradients[a], gradients[b])
				long[a][b] += part[a][b]
			}
		}
		products += dot(e[1:], e[:len(e)-1])
		pairs += dot(e, e)
	}
	if pairs > 0 {
		s.lagOne = products / pairs
	}
	n := mat.NewSymDense(k, nil)
	scale := make([]float64, k)
	for i, a := range s.free {
		scale[i] = math.Sqrt(normal[a][a])
		if !(scale[i] > 0) {
			return &UndeterminedError{lsq.RankLoss, "the readings do not depend on the " + parameterNames[a]}
		}
	}
	for i, a := range s.free {
		for j, b := range s.free {
			if j >= i {
				n.SetSym(i, j, normal[a][b]/(scale[i]*scale[j]))
			}
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(n) || chol.Cond() > 1e12 {
		return &UndeterminedError{lsq.RankLoss, "gain, dead time and lag cannot be told apart; watch longer after the step"}
	}
	var inverse mat.SymDense
	if err := chol.InverseTo(&inverse); err != nil {
		return &UndeterminedError{lsq.RankLoss, "gain, dead time and lag cannot be told apart; watch longer after the step"}
	}
	for i, a := range s.free {
		for j, b := range s.free {
			s.covariance[a][b] = inverse.At(i, j) / (scale[i] * scale[j])
		}
	}
	s.long = long
	return nil
}

// variances are those of a linear combination of the parameters, for residuals of variance 1: plain, and times the
// inflation by correlation that is left in the residuals.
func (s *solution) variances(by [parameters]float64) (plain, inflated float64) {
	var along [parameters]float64
	for a := range parameters {
		for b := range parameters {
			along[a] += s.covariance[a][b] * by[b]
		}
		plain += by[a] * along[a]
	}
	sandwich := 0.0
	for a := range parameters {
		for b := range parameters {
			sandwich += along[a] * s.long[a][b] * along[b]
		}
	}
	// Less than 1 counts as 1: that a finite record shows less scatter than independent residuals would is chance.
	return plain, math.Max(plain, sandwich/s.variance())
}

// stdErr is the standard error of a combination, for residuals of a variance.
func (s *solution) stdErr(by [parameters]float64, variance float64) float64 {
	_, inflated := s.variances(by)
	return math.Sqrt(variance * inflated)
}

// alongOne is the combination that is one parameter.
func alongOne(a int) (by [parameters]float64) {
	by[a] = 1
	return by
}

// alongResponse is dead time and lag together.
var alongResponse = [parameters]float64{deadAt: 1, lagAt: 1}

// opening finds a start on a grid of dead times and lags, the gain being linear. Long records are thinned for it.
func opening(records []*record, free []int) [parameters]float64 {
	thinned := make([]*record, len(records))
	for i, r := range records {
		thinned[i] = r.thin()
		thinned[i].whiten(0)
	}
	records = thinned
	shortest, longest := gridTimes(records)
	best, bestSquares := [parameters]float64{1, shortest, shortest}, math.Inf(1)
	all := 0.0
	for _, r := range records {
		all += dot(r.white, r.white)
	}
	for dead := 0.0; dead < longest; dead = nextTime(dead, shortest) {
		for lag := 0.0; lag < longest; lag = nextTime(lag, shortest) {
			if len(free) < parameters && lag > 0 {
				break
			}
			across, along := 0.0, 0.0
			for _, r := range records {
				answer := r.answerAlone(dead, lag)
				across += dot(answer, r.white)
				along += dot(answer, answer)
			}
			if along == 0 {
				continue
			}
			if squares := all - across*across/along; squares < bestSquares {
				bestSquares = squares
				best = [parameters]float64{across / along, dead, math.Max(lag, shortest/4)}
			}
		}
	}
	if len(free) < parameters {
		best[lagAt] = 0
	}
	return best
}

// nextTime is the following time on the grid: even at first, then by a ratio.
func nextTime(t, shortest float64) float64 { return math.Max(t+shortest, t*1.7) }

// gridTimes are the smallest time that the samples can tell and half the time after a step.
func gridTimes(records []*record) (shortest, longest float64) {
	shortest = math.Inf(1)
	for _, r := range records {
		n := len(r.timeS)
		span := r.timeS[n-1] - r.timeS[0]
		shortest = math.Min(shortest, span/float64(n-1))
		longest = math.Max(longest, span/2)
	}
	return shortest, longest
}
