package lsq

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// bendAfter is the iteration from which steps are bent. Easy fits are done by then and are spared the model calls. Under a
// robust loss a fit is slow because the weights move, not because the valley bends; it is spared them too.
const bendAfter = 10

// bent holds a step that follows a curved valley.
type bent struct {
	point    []float64 // cols
	residual []float64 // total
	curve    []float64 // total: second derivative of the residuals along the step
	move     []float64 // cols
}

func (b *bent) resize(total, cols int) {
	b.point, b.move = resize(b.point, cols), resize(b.move, cols)
	b.residual, b.curve = resize(b.residual, total), resize(b.curve, total)
}

// bend tries to do better than the straight trial step: along a curved valley the straight step leaves the floor after
// a short way. The second derivative of the residuals along the step says how the floor bends, and the same damped
// triangle gives the correction (geodesic acceleration, M. K. Transtrum and J. P. Sethna 2012, from memory). The bent
// step is kept if its cost is lower than the straight one's. It returns the reduction of the cost at the trial point
// that it leaves.
func (s *Solver) bend(reduction float64, finite bool) (float64, bool) {
	b := &s.bent
	if !s.curvature() {
		return reduction, finite
	}
	s.region.correction(b.move, s.lin.rotate(b.curve))
	// More than this and the valley bends too sharply for a parabola (0.75 is Transtrum and Sethna's).
	if !(s.lin.scaledNorm(b.move) < 0.75*s.region.length) {
		return reduction, finite
	}
	s.pointAt(b.point, s.trial, b.move, 0.5)
	if !s.evaluate(b.residual, b.point) {
		return reduction, finite
	}
	if bent := s.reduction(s.residual, b.residual); !finite || bent > reduction {
		s.trial, b.point = b.point, s.trial
		s.trialRe, b.residual = b.residual, s.trialRe
		return bent, true
	}
	return reduction, finite
}

// curvature fills the second derivative of the weighted residuals along the step, from one evaluation a tenth of the
// way along it and the Jacobian.
func (s *Solver) curvature() (finite bool) {
	const h = 0.1
	b, n := &s.bent, s.cols
	s.pointAt(b.point, s.params, s.region.move, h)
	if !s.evaluate(b.residual, b.point) {
		return false
	}
	clear(b.curve)
	for i := range s.rows { // priors are straight
		straight := 0.0
		for j, d := range s.jac[i*n : (i+1)*n] {
			straight += d * s.region.move[j]
		}
		if s.problem.Sigma != nil {
			straight /= s.problem.Sigma[i]
		}
		b.curve[i] = 2 / h * ((b.residual[i]-s.residual[i])/h - straight)
	}
	return true
}

// pointAt writes from + share*move, cut at the bounds.
func (s *Solver) pointAt(dst, from, move []float64, share float64) {
	for j := range dst {
		lo, hi := s.problem.bounds(j)
		dst[j] = math.Min(math.Max(from[j]+share*move[j], lo), hi)
	}
}

// rotate applies the transposed Q of the last factorisation to v in place and returns the part that the triangle sees.
func (l *linearisation) rotate(v []float64) []float64 {
	n, width := l.cols, l.cols+1
	q := blas64.General{Rows: l.rows, Cols: n, Stride: width, Data: l.work}
	lapack64.Ormqr(blas.Left, blas.Trans, q, l.tau[:n], blas64.General{Rows: l.rows, Cols: 1, Stride: 1, Data: v}, l.lapack, len(l.lapack))
	return v[:n]
}
