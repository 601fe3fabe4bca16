package lsq

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// uncertainty fills the covariance of the free parameters, or names those that are not determined.
//
// The rows are weighted so that each has unit variance: data rows over the noise's standard deviation, prior rows as
// they are. With Q R their factorisation the covariance is R^-1 R^-T. The columns are scaled to length 1 first, so
// that the condition number means the same in any units.
func (s *Solver) uncertainty(result *Result) {
	if !s.linearise() {
		return
	}
	free := s.freeParameters(result)
	variance := s.noiseVariance()
	if math.IsNaN(variance) || math.IsInf(variance, 0) { // no degree of freedom, or a robust loss that kept nothing
		result.Unidentified = s.problem.Names
		return
	}
	result.Scale = math.Sqrt(variance)
	result.DOF = s.rows + len(s.problem.Priors) - len(free)
	if len(free) == 0 {
		return
	}
	noise := math.Sqrt(variance)
	if !(noise > 0) {
		noise = 1 // a perfect fit: the shape of the covariance is found with unit noise, then multiplied by zero
	}
	s.assembleForCovariance(noise)
	s.lin.factor()
	triangle := s.scaledTriangle(free)
	singular, null := s.singularValues(triangle, len(free))
	s.summary.Condition = condition(singular)
	if names := s.undetermined(free, singular, null); names != nil {
		result.Unidentified = names
		return
	}
	s.invert(result, free, triangle, variance/(noise*noise))
}

// freeParameters are the indices of those not held at a bound; the held ones are named.
func (s *Solver) freeParameters(result *Result) []int {
	free := make([]int, 0, s.cols)
	for j, held := range s.lin.held {
		if held {
			result.AtBound = append(result.AtBound, s.problem.Names[j])
		} else {
			free = append(free, j)
		}
	}
	return free
}

// noiseVariance is the variance of a data row over sigma, under the noise assumption.
//
// Under a robust loss it is Huber's estimate (Robust Statistics 1981, section 7.6):
// K^2 scale^2 [sum psi^2/(m-n)] / mean(psi')^2 with K = 1 + (n/m) var(psi')/mean(psi')^2. It comes from the residuals
// even where sigma is known, because wild readings are no part of that knowledge.
func (s *Solver) noiseVariance() float64 {
	m, n := float64(s.rows), float64(s.cols)
	if !s.opt.Loss.Robust() {
		if s.opt.Noise == KnownSigma {
			return 1
		}
		return sumSquares(s.residual[:s.rows]) / (m - n)
	}
	psi2, slope, slope2 := 0.0, 0.0, 0.0
	for _, f := range s.residual[:s.rows] {
		z := f / s.scale
		psi := z * s.opt.Loss.weight(z)
		d := s.opt.Loss.slope(z)
		psi2 += psi * psi
		slope += d
		slope2 += d * d
	}
	slope /= m
	spread := slope2/m - slope*slope
	k := 1 + n/m*spread/(slope*slope)
	return k * k * s.scale * s.scale * psi2 / (m - n) / (slope * slope)
}

// assembleForCovariance writes unit-variance rows without robust weights: the weights act through noiseVariance.
func (s *Solver) assembleForCovariance(noise float64) {
	loss := s.opt.Loss
	s.opt.Loss = Squares()
	s.assemble(noise)
	s.opt.Loss = loss
}

// scaledTriangle factors the free columns alone, each scaled to length 1, and returns their triangle.
func (s *Solver) scaledTriangle(free []int) []float64 {
	n, k := s.cols, len(free)
	triangle := make([]float64, k*k)
	if k == n {
		for i := range n {
			for j := i; j < n; j++ {
				triangle[i*n+j] = s.lin.r[i*n+j] / unitIfZero(s.lin.norm[j])
			}
		}
		return triangle
	}
	// Held columns lie between: factor the narrower triangle again.
	part := make([]float64, n*k)
	for i := range n {
		for q, j := range free {
			if i <= j {
				part[i*k+q] = s.lin.r[i*n+j] / unitIfZero(s.lin.norm[j])
			}
		}
	}
	lapack64.Geqrf(blas64.General{Rows: n, Cols: k, Stride: k, Data: part}, s.lin.tau[:k], s.lin.lapack, len(s.lin.lapack))
	for i := range k {
		copy(triangle[i*k+i:(i+1)*k], part[i*k+i:(i+1)*k])
	}
	return triangle
}

func unitIfZero(v float64) float64 {
	if v == 0 {
		return 1
	}
	return v
}

// singularValues returns those of the triangle, largest first, and its right singular vectors as rows.
func (s *Solver) singularValues(triangle []float64, k int) (singular, vt []float64) {
	a, u, vt := s.region.a[:k*k], s.region.u[:k*k], s.region.vt[:k*k]
	singular = s.region.s[:k]
	copy(a, triangle)
	svd(k, a, u, vt, singular, s.region.lapack)
	return singular, vt
}

func condition(singular []float64) float64 {
	return singular[0] / singular[len(singular)-1]
}

// undetermined names the parameters that take part in a direction along which the readings do not change.
func (s *Solver) undetermined(free []int, singular, vt []float64) []string {
	k := len(free)
	part := make([]bool, k)
	for row, value := range singular {
		if value > s.rankTolerance()*singular[0] {
			continue
		}
		for q := range k {
			// In columns of unit length a share below a tenth is company, not cause.
			part[q] = part[q] || math.Abs(vt[row*k+q]) > 0.1
		}
	}
	if !slices.Contains(part, true) {
		return nil
	}
	names := []string{}
	for q, j := range free {
		if part[q] {
			names = append(names, s.problem.Names[j])
		}
	}
	return names
}

// rankTolerance is the relative singular value that rounding, or the error of differences, can leave of a zero.
func (s *Solver) rankTolerance() float64 {
	switch {
	case s.opt.RankTol > 0:
		return s.opt.RankTol
	case s.problem.Jacobian == nil:
		return 1e-9
	}
	return 10 * float64(s.cols) * epsilon
}

// invert writes variance * R^-1 R^-T of the scaled triangle, in the parameters' units, into the result.
func (s *Solver) invert(result *Result, free []int, triangle []float64, variance float64) {
	k := len(free)
	t := blas64.Triangular{Uplo: blas.Upper, Diag: blas.NonUnit, N: k, Stride: k, Data: triangle}
	lapack64.Trtri(t)
	result.Covariance = square(s.cols)
	result.StdErr = make([]float64, s.cols)
	for a, i := range free {
		for b, j := range free[:a+1] {
			sum := 0.0
			for q := a; q < k; q++ { // b <= a, and the inverse is upper too
				sum += triangle[a*k+q] * triangle[b*k+q]
			}
			sum *= variance / (s.lin.norm[i] * s.lin.norm[j])
			result.Covariance[i][j], result.Covariance[j][i] = sum, sum
		}
		result.StdErr[i] = math.Sqrt(result.Covariance[i][i])
	}
}

func square(n int) [][]float64 {
	data := make([]float64, n*n)
	rows := make([][]float64, n)
	for i := range rows {
		rows[i] = data[i*n : (i+1)*n : (i+1)*n]
	}
	return rows
}

func sumSquares(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x * x
	}
	return sum
}
