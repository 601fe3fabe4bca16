package lsq

import "math"

// difference approximates the Jacobian by differences of the residuals.
type difference struct {
	p, ahead, behind, here []float64
	haveHere               bool
}

func (d *difference) resize(rows, cols int) {
	d.p = resize(d.p, cols)
	d.ahead, d.behind, d.here = resize(d.ahead, rows), resize(d.behind, rows), resize(d.here, rows)
}

// cubeRootEpsilon is the relative width at which the truncation of a central difference equals its rounding.
const cubeRootEpsilon = 6.055454452393343e-06

// jacobian fills jac at params and returns the number of residual calls. Differences are central, and one-sided of
// the same order where a bound is in the way, so that the model is never asked outside its bounds.
func (d *difference) jacobian(jac []float64, problem *Problem, params []float64) (calls int) {
	d.haveHere = false
	copy(d.p, params)
	for j := range params {
		h := width(problem, params, j)
		lo, hi := problem.bounds(j)
		switch {
		case params[j]+h > hi:
			calls += d.oneSided(jac, problem, j, -h)
		case params[j]-h < lo:
			calls += d.oneSided(jac, problem, j, h)
		default:
			calls += d.central(jac, problem, j, h)
		}
	}
	return calls
}

// width is the half width of the difference for parameter j: relative to the parameter, or to its typical size when
// it is smaller than that.
func width(problem *Problem, params []float64, j int) float64 {
	size := math.Abs(params[j])
	if problem.Typical != nil {
		size = math.Max(size, math.Abs(problem.Typical[j]))
	}
	if size == 0 {
		size = 1
	}
	return cubeRootEpsilon * size
}

func (d *difference) central(jac []float64, problem *Problem, j int, h float64) (calls int) {
	at, n := d.p[j], len(d.p)
	d.p[j] = at + h
	up := d.p[j] - at // what was really added
	problem.Residual(d.ahead, d.p)
	d.p[j] = at - h
	down := at - d.p[j]
	problem.Residual(d.behind, d.p)
	d.p[j] = at
	for i := range d.ahead {
		jac[i*n+j] = (d.ahead[i] - d.behind[i]) / (up + down)
	}
	return 2
}

// oneSided uses (-3 f(0) + 4 f(h) - f(2h)) / 2h, of second order as the central form is.
func (d *difference) oneSided(jac []float64, problem *Problem, j int, h float64) (calls int) {
	at, n := d.p[j], len(d.p)
	if !d.haveHere {
		problem.Residual(d.here, d.p)
		d.haveHere = true
		calls++
	}
	d.p[j] = at + h
	problem.Residual(d.ahead, d.p)
	d.p[j] = at + 2*h
	problem.Residual(d.behind, d.p)
	d.p[j] = at
	for i := range d.ahead {
		jac[i*n+j] = (-3*d.here[i] + 4*d.ahead[i] - d.behind[i]) / (2 * h)
	}
	return calls + 2
}

// JacobianDisagreement is the place where a problem's Jacobian differs most from differences.
type JacobianDisagreement struct {
	Row      int
	Name     string
	Given    float64
	Measured float64
	Relative float64 // the difference over the largest entry of that parameter's column
}

// CheckJacobian compares problem.Jacobian at params with differences. About 1e-8 is agreement; more is a mistake.
func CheckJacobian(problem Problem, params []float64) JacobianDisagreement {
	n := len(params)
	given := make([]float64, problem.Rows*n)
	measured := make([]float64, problem.Rows*n)
	problem.Jacobian(given, params)
	var d difference
	d.resize(problem.Rows, n)
	d.jacobian(measured, &problem, params)
	var worst JacobianDisagreement
	for j := range n {
		largest := 0.0
		for i := range problem.Rows {
			largest = math.Max(largest, math.Max(math.Abs(given[i*n+j]), math.Abs(measured[i*n+j])))
		}
		for i := range problem.Rows {
			g, m := given[i*n+j], measured[i*n+j]
			if relative := math.Abs(g-m) / largest; relative > worst.Relative || relative != relative && largest > 0 {
				worst = JacobianDisagreement{Row: i, Name: problem.Names[j], Given: g, Measured: m, Relative: relative}
			}
		}
	}
	return worst
}
