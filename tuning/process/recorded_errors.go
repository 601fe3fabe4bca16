package process

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"trunnion/tuning/units"
)

// report simulates the best model and gives its errors.
func (f *recordedFit) report(p []float64) RecordedResult {
	n := len(f.r.TimeS)
	e := make([]float64, n)
	f.residual(e, p)
	out := RecordedResult{Model: f.o.Model.String(), Simulated: make([]float64, n)}
	mean, about := 0.0, 0.0
	for i, y := range f.r.Output {
		out.Simulated[i] = y - e[i]
		mean += y / float64(n)
	}
	for _, y := range f.r.Output {
		about += (y - mean) * (y - mean)
	}
	squares := dot(e, e)
	out.FitPercent = 100 * (1 - math.Sqrt(squares/about))
	out.Autocorrelation = dot(e[1:], e[:n-1]) / squares
	gain, sigma, unknowns, determined := f.errors(p, e)
	out.DegreesOfFreedom = n - unknowns
	out.ResidualRms = math.Sqrt(squares / float64(max(1, out.DegreesOfFreedom)))
	out.Determined = determined
	first, second := f.lags(p)
	out.Gain = units.Estimate{Value: gain, StdErr: sigma[0]}
	out.DeadTime = units.Estimate{Value: p[0], StdErr: sigma[1]}
	out.Lag = units.Estimate{Value: first, StdErr: first * sigma[2]}
	if f.o.Model == TwoLags {
		out.Second = units.Estimate{Value: second, StdErr: second * sigma[3]}
		if out.Second.Value > out.Lag.Value {
			out.Lag, out.Second = out.Second, out.Lag
		}
	}
	return out
}

// errors linearises the whole model about the solution: gain, dead time and logarithms of the lags, with all other
// columns projected out. It returns the gain and the four standard errors, widened by the correlation of the residuals
// (Newey and West).
func (f *recordedFit) errors(p, e []float64) (gain float64, sigma [4]float64, unknowns int, determined bool) {
	n := len(e)
	sigma = [4]float64{math.Inf(1), math.Inf(1), math.Inf(1), math.Inf(1)}
	f.fill(p)
	design := mat.NewDense(n, len(f.columns), nil)
	for j, c := range f.columns {
		design.SetCol(j, c)
	}
	var linear mat.VecDense
	var svd mat.SVD
	if !svd.Factorize(design, mat.SVDThin) {
		return 0, sigma, len(p), false
	}
	rank := svd.Rank(1e-10)
	svd.SolveVecTo(&linear, mat.NewVecDense(n, slices.Clone(f.r.Output)), rank)
	gain = linear.AtVec(0)
	unknowns = rank + len(p)
	model := func(q []float64) []float64 {
		f.fill(q)
		out := make([]float64, n)
		for j, c := range f.columns {
			addScaled(out, c, linear.AtVec(j))
		}
		return out
	}
	gradients := [][]float64{slices.Clone(f.columns[0])}
	for a := range p {
		step := []float64{f.step / 50, 1e-4, 1e-4}[a]
		up, down := slices.Clone(p), slices.Clone(p)
		up[a], down[a] = p[a]+step, max(p[a]-step, 0)
		if a > 0 {
			down[a] = p[a] - step
		}
		g := model(up)
		addScaled(g, model(down), -1)
		gradients = append(gradients, scaled(g, 1/(up[a]-down[a])))
	}
	f.fill(p)
	others := f.columns[1:]
	project(gradients, others)
	k := len(gradients)
	normal := mat.NewSymDense(k, nil)
	long := mat.NewDense(k, k, nil)
	lag := int(4 * math.Cbrt(float64(n)))
	for a := range k {
		for b := range k {
			if b >= a {
				normal.SetSym(a, b, dot(gradients[a], gradients[b]))
			}
			sum := 0.0
			for l := -lag; l <= lag; l++ {
				weight := 1 - math.Abs(float64(l))/float64(lag+1)
				for j := max(0, l); j < min(n, n+l); j++ {
					sum += weight * gradients[a][j] * e[j] * gradients[b][j-l] * e[j-l]
				}
			}
			long.Set(a, b, sum)
		}
	}
	var chol mat.Cholesky
	var inverse mat.SymDense
	if !chol.Factorize(normal) || chol.InverseTo(&inverse) != nil {
		return gain, sigma, unknowns, false
	}
	var sandwich, half mat.Dense
	half.Mul(&inverse, long)
	sandwich.Mul(&half, &inverse)
	variance := dot(e, e) / float64(max(1, n-unknowns))
	for a := range k {
		sigma[a] = math.Sqrt(max(variance*inverse.At(a, a), sandwich.At(a, a)))
	}
	return gain, sigma, unknowns, true
}

// project takes the others out of the gradients.
func project(gradients, others [][]float64) {
	var basis [][]float64
	for _, o := range others {
		v := slices.Clone(o)
		before := norm(v)
		for range 2 {
			for _, b := range basis {
				addScaled(v, b, -dot(v, b))
			}
		}
		if after := norm(v); after > 1e-9*before {
			basis = append(basis, scaled(v, 1/after))
		}
	}
	for _, g := range gradients {
		for range 2 {
			for _, b := range basis {
				addScaled(g, b, -dot(g, b))
			}
		}
	}
}
