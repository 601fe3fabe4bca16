package deadband

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
	"trunnion/tuning/units"
)

// Threshold is the place at which half of the tries answer yes, and the
// standard deviation of the normal distribution of the place from try to try.
type Threshold struct {
	Middle    units.Estimate
	Scatter   float64
	Separated bool // every no lies below every yes, so that the scatter is only bounded
}

// ErrOneSided says that all tries gave the same answer.
var ErrOneSided = errors.New("all tries gave the same answer, so the edge is not bracketed; search wider")

// FitThreshold is the maximum-likelihood fit of a normal threshold to yes-or-no
// tries at places x: P(yes) = Phi((x - middle)/scatter), by Fisher scoring on
// intercept and slope of the probit. (Finney's probit analysis; Fisher scoring
// as in any text on generalised linear models.) The error of the middle is from
// the expected information by the delta method.
//
// Where the tries separate, or answer yes more rarely with growing x, the
// likelihood has no inner maximum: then the middle of the gap (of the overlap)
// with an error of its width over root twelve.
func FitThreshold(x []float64, yes []bool) (Threshold, error) {
	highestNo, lowestYes := math.Inf(-1), math.Inf(1)
	for i := range x {
		if yes[i] {
			lowestYes = math.Min(lowestYes, x[i])
		} else {
			highestNo = math.Max(highestNo, x[i])
		}
	}
	if math.IsInf(highestNo, 0) || math.IsInf(lowestYes, 0) {
		return Threshold{}, ErrOneSided
	}
	if highestNo < lowestYes {
		return gap(highestNo, lowestYes), nil
	}
	if th, ok := probit(x, yes); ok {
		return th, nil
	}
	return gap(lowestYes, highestNo), nil
}

func gap(low, high float64) Threshold {
	s := (high - low) / math.Sqrt(12)
	return Threshold{Middle: units.Estimate{Value: (low + high) / 2, StdErr: s}, Scatter: s, Separated: true}
}

// probit fits by Fisher scoring in a standardised x. It reports false when the
// slope is not positive or the steps do not converge.
func probit(x []float64, yes []bool) (Threshold, bool) {
	centre, scale := spread(x)
	if scale == 0 {
		return Threshold{}, false
	}
	normal := distuv.UnitNormal
	b0, b1 := 0.0, 1.0
	for range 200 {
		var g0, g1, i00, i01, i11 float64
		for i := range x {
			z := (x[i] - centre) / scale
			eta := math.Max(-6, math.Min(6, b0+b1*z))
			p, density := normal.CDF(eta), normal.Prob(eta)
			y := 0.0
			if yes[i] {
				y = 1
			}
			w := density * density / (p * (1 - p))
			r := (y - p) / density
			g0 += w * r
			g1 += w * r * z
			i00 += w
			i01 += w * z
			i11 += w * z * z
		}
		det := i00*i11 - i01*i01
		if !(det > 1e-12) {
			return Threshold{}, false
		}
		d0, d1 := (i11*g0-i01*g1)/det, (i00*g1-i01*g0)/det
		if m := math.Max(math.Abs(d0), math.Abs(d1)); m > 1 {
			d0, d1 = d0/m, d1/m // a step too far overshoots the flat tails
		}
		b0, b1 = b0+d0, b1+d1
		if math.Abs(d0)+math.Abs(d1) < 1e-10 {
			if b1 <= 0 {
				return Threshold{}, false
			}
			middle := -b0 / b1
			// var(middle) = (v00 + 2 middle v01 + middle^2 v11)/b1^2, v = inverse information.
			variance := (i11 - 2*middle*i01 + middle*middle*i00) / det / (b1 * b1)
			return Threshold{
				Middle:  units.Estimate{Value: centre + scale*middle, StdErr: scale * math.Sqrt(variance)},
				Scatter: scale / b1,
			}, true
		}
	}
	return Threshold{}, false
}

// spread is the middle of the places and their standard deviation.
func spread(x []float64) (middle, deviation float64) {
	for _, v := range x {
		middle += v / float64(len(x))
	}
	for _, v := range x {
		deviation += (v - middle) * (v - middle) / float64(len(x))
	}
	return middle, math.Sqrt(deviation)
}
