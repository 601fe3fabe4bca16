package pid

import (
	"math"
	"math/cmplx"
)

// Transfer is a rational function of s with an exact dead time: Num(s)/Den(s) e^{-s DeadTimeS}. Coefficients are in
// ascending powers of s.
type Transfer struct {
	Num, Den  []float64
	DeadTimeS float64
}

// maxOrder bounds the degree of a denominator.
const maxOrder = 24

// Validate reports a function that is empty, not finite, improper or of too high an order.
func (t Transfer) Validate() error {
	num, den := trim(t.Num), trim(t.Den)
	switch {
	case len(den) == 0:
		return &ModelError{"the denominator is nought"}
	case len(num) == 0:
		return &ModelError{"the numerator is nought: there is no loop"}
	case len(num) > len(den):
		return &ModelError{"it has more zeros than poles; give the derivative a filter time"}
	case len(den) > maxOrder:
		return &ModelError{"its order is too high"}
	case !(t.DeadTimeS >= 0) || math.IsInf(t.DeadTimeS, 1):
		return &ParameterError{"dead time", t.DeadTimeS, "it must be nought or positive, and finite"}
	}
	for _, list := range [][]float64{num, den} {
		for _, c := range list {
			if math.IsNaN(c) || math.IsInf(c, 0) {
				return &ModelError{"a coefficient is not finite"}
			}
		}
	}
	return nil
}

// At returns the frequency response at w rad/s.
func (t Transfer) At(w float64) complex128 {
	s := complex(0, w)
	return evaluate(t.Num, s) / evaluate(t.Den, s) * cmplx.Exp(complex(0, -w*t.DeadTimeS))
}

// Times returns the product of two transfers, which is one after the other.
func (t Transfer) Times(o Transfer) Transfer {
	return Transfer{Num: multiply(t.Num, o.Num), Den: multiply(t.Den, o.Den), DeadTimeS: t.DeadTimeS + o.DeadTimeS}
}

// Scaled returns k times the transfer.
func (t Transfer) Scaled(k float64) Transfer {
	return Transfer{Num: multiply(t.Num, []float64{k}), Den: t.Den, DeadTimeS: t.DeadTimeS}
}

// trim returns p without leading coefficients that are nought.
func trim(p []float64) []float64 {
	for len(p) > 0 && p[len(p)-1] == 0 {
		p = p[:len(p)-1]
	}
	return p
}

// evaluate is p at s, by Horner's rule.
func evaluate(p []float64, s complex128) complex128 {
	var sum complex128
	for i := len(p) - 1; i >= 0; i-- {
		sum = sum*s + complex(p[i], 0)
	}
	return sum
}

// multiply is the product of two polynomials.
func multiply(p, q []float64) []float64 {
	if len(p) == 0 || len(q) == 0 {
		return nil
	}
	out := make([]float64, len(p)+len(q)-1)
	for i, a := range p {
		for j, b := range q {
			out[i+j] += a * b
		}
	}
	return out
}
