package lsq

import (
	"math"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// linearisation is the weighted Jacobian and residuals at one point, after QR: what is left is the triangle R and the
// rotated residuals c, with |J p + f|^2 = |R p + c|^2 + rest.
type linearisation struct {
	rows, cols int
	work       []float64 // rows x (cols+1): weighted Jacobian and, in the last column, the residuals; QR in place
	tau        []float64
	lapack     []float64
	r          []float64 // cols x cols, upper
	c          []float64 // cols
	grad       []float64 // cols, of the cost
	norm       []float64 // cols, of the columns
	diag       []float64 // cols, the scaling of the trust region: the largest column norms so far (Moré 1978)
	held       []bool    // cols: at a bound, and wants to leave
	length     float64   // of the residuals
}

func (l *linearisation) resize(rows, cols int) {
	l.rows, l.cols = rows, cols
	l.work = resize(l.work, rows*(cols+1))
	l.tau = resize(l.tau, cols+1)
	l.r = resize(l.r, cols*cols)
	l.c = resize(l.c, cols)
	l.grad = resize(l.grad, cols)
	l.norm = resize(l.norm, cols)
	l.diag = resize(l.diag, cols)
	if cap(l.held) < cols {
		l.held = make([]bool, cols)
	}
	l.held = l.held[:cols]
	// Geqrf wants cols+1 at least; blocks of 32 columns are its optimum for large problems.
	l.lapack = resize(l.lapack, 32*(cols+1))
}

func (l *linearisation) forgetScaling() { clear(l.diag) }

// linearise fills the linearisation at the present parameters and tells whether the Jacobian is finite.
func (s *Solver) linearise() (finite bool) {
	s.summary.JacobianCalls++
	s.writeJacobian(s.params)
	if !s.assemble(1) {
		return false
	}
	s.lin.factor()
	s.holdAtBounds()
	s.lin.updateScaling()
	return true
}

// writeJacobian fills jac at params, by the problem's derivative or by differences.
func (s *Solver) writeJacobian(params []float64) {
	if s.problem.Jacobian != nil {
		s.problem.Jacobian(s.jac, params)
		return
	}
	s.summary.ResidualCalls += s.diff.jacobian(s.jac, &s.problem, params)
}

// assemble writes the weighted rows. Data rows are divided by sigma and by dataScale and, under a robust loss,
// multiplied by the root of the weight.
func (s *Solver) assemble(dataScale float64) (finite bool) {
	n, width := s.cols, s.cols+1
	sum := 0.0
	for i := range s.rows {
		row := s.lin.work[i*width : (i+1)*width]
		w := s.rootWeight(i)
		row[n] = w * s.residual[i]
		w /= dataScale
		if s.problem.Sigma != nil {
			w /= s.problem.Sigma[i]
		}
		for j, d := range s.jac[i*n : (i+1)*n] {
			row[j] = w * d
			sum += row[j]
		}
	}
	for k, prior := range s.problem.Priors {
		row := s.lin.work[(s.rows+k)*width : (s.rows+k+1)*width]
		clear(row)
		row[prior.Param] = 1 / prior.StdErr
		row[n] = s.residual[s.rows+k]
	}
	return !math.IsNaN(sum) && !math.IsInf(sum, 0)
}

func (s *Solver) rootWeight(i int) float64 {
	if !s.opt.Loss.Robust() {
		return 1
	}
	return math.Sqrt(s.opt.Loss.weight(s.residual[i] / s.scale))
}

// factor turns the rows into R, c, the gradient and the column norms.
func (l *linearisation) factor() {
	n, width := l.cols, l.cols+1
	sum := 0.0
	for i := range l.rows {
		f := l.work[i*width+n]
		sum += f * f
	}
	l.length = math.Sqrt(sum)
	a := blas64.General{Rows: l.rows, Cols: width, Stride: width, Data: l.work}
	lapack64.Geqrf(a, l.tau[:min(l.rows, width)], l.lapack, len(l.lapack))
	for i := range n {
		for j := range n {
			l.r[i*n+j] = 0
			if j >= i {
				l.r[i*n+j] = l.work[i*width+j]
			}
		}
		l.c[i] = l.work[i*width+n]
	}
	for j := range n {
		g, norm := 0.0, 0.0
		for i := 0; i <= j; i++ {
			g += l.r[i*n+j] * l.c[i]
			norm = math.Hypot(norm, l.r[i*n+j])
		}
		l.grad[j], l.norm[j] = g, norm
	}
}

// holdAtBounds takes the parameters out that stand at a bound which the gradient would have them cross.
func (s *Solver) holdAtBounds() {
	for j := range s.cols {
		lo, hi := s.problem.bounds(j)
		p, g := s.params[j], s.lin.grad[j]
		s.lin.held[j] = p <= lo && g > 0 || p >= hi && g < 0
		if s.lin.held[j] {
			s.lin.dropColumn(j)
		}
	}
}

// dropColumn makes parameter j have no effect.
func (l *linearisation) dropColumn(j int) {
	for i := 0; i <= j; i++ {
		l.r[i*l.cols+j] = 0
	}
	l.grad[j] = 0
}

func (l *linearisation) updateScaling() {
	for j, norm := range l.norm {
		l.diag[j] = math.Max(l.diag[j], norm)
		if l.diag[j] == 0 {
			l.diag[j] = 1
		}
	}
}

// cosine is the largest cosine between the residuals and a free column: 0 at a minimum, whatever the units.
func (l *linearisation) cosine() float64 {
	worst := 0.0
	for j, g := range l.grad {
		if g != 0 && l.length > 0 {
			worst = math.Max(worst, math.Abs(g)/(l.norm[j]*l.length))
		}
	}
	return worst
}

// scaledNorm is the length of params in the scaling of the trust region.
func (l *linearisation) scaledNorm(params []float64) float64 {
	sum := 0.0
	for j, p := range params {
		sum += l.diag[j] * p * l.diag[j] * p
	}
	return math.Sqrt(sum)
}

// predictedReduction is how much the cost of the linear model falls with a move: -(g p + |R p|^2/2).
func (l *linearisation) predictedReduction(move []float64) float64 {
	n := l.cols
	sum := 0.0
	for j, p := range move {
		sum -= l.grad[j] * p
	}
	for i := range n {
		v := 0.0
		for j := i; j < n; j++ {
			v += l.r[i*n+j] * move[j]
		}
		sum -= v * v / 2
	}
	return sum
}
