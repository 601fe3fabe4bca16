package pid

import "math"

// positiveRoots returns the real roots of p (ascending powers) greater than nought at which it changes sign, ascending.
// Between two neighbouring roots of the derivative a polynomial is monotone, so each of those stretches holds at most
// one: the roots of the derivative are found in the same way, and each stretch is searched by bracketing. A root at which
// p only touches nought is not a change of sign and is left out.
func positiveRoots(p []float64) []float64 {
	for len(p) > 0 && p[0] == 0 {
		p = p[1:]
	}
	p = trim(p)
	switch len(p) {
	case 0, 1:
		return nil
	case 2:
		if x := -p[0] / p[1]; x > 0 {
			return []float64{x}
		}
		return nil
	}
	derivative := make([]float64, len(p)-1)
	for i := range derivative {
		derivative[i] = float64(i+1) * p[i+1]
	}
	ends := append(positiveRoots(derivative), rootBound(p))
	var roots []float64
	lower := 0.0
	for _, upper := range ends {
		if upper <= lower {
			continue
		}
		if a, b := horner(p, lower), horner(p, upper); a == 0 || b == 0 || (a < 0) != (b < 0) {
			if x, found := bracketedRoot(func(x float64) float64 { return horner(p, x) }, lower, upper); found {
				roots = appendApart(roots, x)
			}
		}
		lower = upper
	}
	return roots
}

// appendApart adds x unless it is the root that was added last, met again from the next stretch.
func appendApart(roots []float64, x float64) []float64 {
	if n := len(roots); n > 0 && x-roots[n-1] <= 1e-13*x {
		return roots
	}
	return append(roots, x)
}

// rootBound is Fujiwara's bound on the size of the roots of p, doubled.
func rootBound(p []float64) float64 {
	n := len(p) - 1
	bound := 0.0
	for i, c := range p[:n] {
		bound = max(bound, math.Pow(math.Abs(c/p[n]), 1/float64(n-i)))
	}
	return 4 * bound
}

func horner(p []float64, x float64) float64 {
	sum := 0.0
	for i := len(p) - 1; i >= 0; i-- {
		sum = sum*x + p[i]
	}
	return sum
}

// bracketedRoot finds a change of sign of f between a and b to rounding error, by false position with the Illinois
// weighting and bisection where that is slow. It reports false if f has the same sign at both ends.
func bracketedRoot(f func(float64) float64, a, b float64) (float64, bool) {
	fa, fb := f(a), f(b)
	switch {
	case fa == 0:
		return a, a > 0
	case fb == 0:
		return b, true
	case (fa < 0) == (fb < 0):
		return 0, false
	}
	kept := 0 // the end that the last step left alone: -1 is a, +1 is b
	for i := 0; i < 200; i++ {
		width := b - a
		if width <= 4e-16*math.Abs(b) {
			break
		}
		x := b - fb*(b-a)/(fb-fa)
		if i%4 == 3 || !(x > a && x < b) {
			x = a + width/2
		}
		fx := f(x)
		switch {
		case fx == 0:
			return x, true
		case (fx < 0) == (fb < 0):
			b, fb = x, fx
			if kept == -1 {
				fa /= 2
			}
			kept = -1
		default:
			a, fa = x, fx
			if kept == 1 {
				fb /= 2
			}
			kept = 1
		}
	}
	return (a + b) / 2, true
}

// greatest returns where f is greatest between a and b, by golden section on a stretch with one peak.
func greatest(f func(float64) float64, a, b float64) float64 {
	const share = 0.6180339887498949
	c, d := b-share*(b-a), a+share*(b-a)
	fc, fd := f(c), f(d)
	for b-a > 1e-9*b {
		if fc > fd {
			b, d, fd = d, c, fc
			c = b - share*(b-a)
			fc = f(c)
		} else {
			a, c, fc = c, d, fd
			d = a + share*(b-a)
			fd = f(d)
		}
	}
	return (a + b) / 2
}
