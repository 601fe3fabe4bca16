package measure

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"trunnion/tuning/units"
)

// regress fits output = c + ratio x shaft + ripple and fills in the reading.
// Errors presume residuals of one size whose correlation falls off
// geometrically: the variance is widened by (1+rho)/(1-rho), rho being that of
// neighbouring residuals. A second fit with a quadratic term gives the trend.
func regress(r Reading, points []point, output Sensor) Reading {
	harmonics := min(3, int(travel(points)))
	for harmonics > 0 && len(points) < 3*(3+2*harmonics) {
		harmonics--
	}
	middle := (points[0].shaft + points[len(points)-1].shaft) / 2
	span := travel(points)
	if span == 0 {
		return few(r, output)
	}
	fit, ok := leastSquares(points, middle, harmonics, false)
	if !ok {
		return few(r, output)
	}
	// An encoder's lines are never placed perfectly; a fiftieth of a count over
	// the window keeps a lucky fit from claiming to be exact. (Common practice.)
	floor := 0.02 / output.PerTurn / span
	r.Ratio = units.Estimate{Value: fit.slope, StdErr: math.Hypot(fit.slopeErr, floor)}
	r.Ripple = fit.ripple
	if curved, ok := leastSquares(points, middle, harmonics, true); ok {
		// d(ratio) over the window is twice the quadratic coefficient times its span.
		r.Trend = units.Estimate{Value: 2 * curved.bend * span, StdErr: math.Hypot(2*curved.bendErr*span, 4*floor)}
	}
	return r
}

// line is the outcome of one regression, in output turns and shaft turns.
type line struct {
	slope, slopeErr float64
	bend, bendErr   float64
	ripple          float64 // amplitude once a shaft turn, output turns
}

// leastSquares solves by QR. It reports false when the regressors cannot be
// told apart.
func leastSquares(points []point, middle float64, harmonics int, bend bool) (line, bool) {
	columns := 2 + 2*harmonics
	if bend {
		columns++
	}
	n := len(points)
	if n <= columns {
		return line{}, false
	}
	a := mat.NewDense(n, columns, nil)
	y := mat.NewVecDense(n, nil)
	for i, p := range points {
		x := p.shaft - middle
		a.Set(i, 0, 1)
		a.Set(i, 1, x)
		for k := 1; k <= harmonics; k++ {
			s, c := math.Sincos(2 * math.Pi * float64(k) * p.shaft)
			a.Set(i, 2*k, s)
			a.Set(i, 2*k+1, c)
		}
		if bend {
			a.Set(i, columns-1, x*x)
		}
		y.SetVec(i, p.output-points[0].output)
	}
	var qr mat.QR
	qr.Factorize(a)
	var b mat.VecDense
	if err := qr.SolveVecTo(&b, false, y); err != nil {
		return line{}, false
	}
	var fitted mat.VecDense
	fitted.MulVec(a, &b)
	variance := residualVariance(y, &fitted, columns)
	var root mat.Dense
	var rr mat.Dense
	qr.RTo(&rr)
	if err := root.Inverse(rr.Slice(0, columns, 0, columns)); err != nil {
		return line{}, false
	}
	stdErr := func(j int) float64 {
		row := mat.Row(nil, j, &root)
		return math.Sqrt(variance) * math.Sqrt(dot(row, row))
	}
	l := line{slope: b.AtVec(1), slopeErr: stdErr(1)}
	if harmonics > 0 {
		l.ripple = math.Hypot(b.AtVec(2), b.AtVec(3))
	}
	if bend {
		l.bend, l.bendErr = b.AtVec(columns-1), stdErr(columns-1)
	}
	return l, true
}

// residualVariance is the residual variance over its degrees of freedom,
// widened for the correlation of neighbouring residuals.
func residualVariance(y, fitted *mat.VecDense, columns int) float64 {
	n := y.Len()
	var square, lagged, before float64
	for i := range n {
		e := y.AtVec(i) - fitted.AtVec(i)
		square += e * e
		if i > 0 {
			lagged += e * before
		}
		before = e
	}
	if square == 0 {
		return 0
	}
	rho := math.Max(0, math.Min(0.95, lagged/square))
	return square / float64(n-columns) * (1 + rho) / (1 - rho)
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}
