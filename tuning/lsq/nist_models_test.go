package lsq

import (
	"math"

	"gonum.org/v1/gonum/num/dual"
)

// nistModel is a model written once in dual numbers, so that its derivatives are exact.
type nistModel func(b []dual.Number, x []float64) dual.Number

func real(v float64) dual.Number { return dual.Number{Real: v} }

func sum(terms ...dual.Number) dual.Number {
	total := dual.Number{}
	for _, t := range terms {
		total = dual.Add(total, t)
	}
	return total
}

func div(a, b dual.Number) dual.Number { return dual.Mul(a, dual.Inv(b)) }
func neg(a dual.Number) dual.Number    { return dual.Scale(-1, a) }
func sq(a dual.Number) dual.Number     { return dual.Mul(a, a) }

// polynomial is b0 + b1 x + b2 x^2 ...
func polynomial(b []dual.Number, x float64) dual.Number {
	total := dual.Number{}
	for i := len(b) - 1; i >= 0; i-- {
		total = dual.Add(dual.Scale(x, total), b[i])
	}
	return total
}

func misra1a(b []dual.Number, x []float64) dual.Number {
	return dual.Mul(b[0], dual.Sub(real(1), dual.Exp(dual.Scale(-x[0], b[1]))))
}

func chwirut(b []dual.Number, x []float64) dual.Number {
	return div(dual.Exp(dual.Scale(-x[0], b[0])), polynomial(b[1:3], x[0]))
}

func lanczos(b []dual.Number, x []float64) dual.Number {
	total := dual.Number{}
	for k := 0; k < 6; k += 2 {
		total = dual.Add(total, dual.Mul(b[k], dual.Exp(dual.Scale(-x[0], b[k+1]))))
	}
	return total
}

func gauss(b []dual.Number, x []float64) dual.Number {
	peak := func(height, at, width dual.Number) dual.Number {
		return dual.Mul(height, dual.Exp(neg(sq(div(dual.Sub(real(x[0]), at), width)))))
	}
	return sum(dual.Mul(b[0], dual.Exp(dual.Scale(-x[0], b[1]))), peak(b[2], b[3], b[4]), peak(b[5], b[6], b[7]))
}

// rational is a polynomial of the given degree over 1 + a polynomial without constant term.
func rational(degree int) nistModel {
	return func(b []dual.Number, x []float64) dual.Number {
		under := append([]dual.Number{real(1)}, b[degree+1:]...)
		return div(polynomial(b[:degree+1], x[0]), polynomial(under, x[0]))
	}
}

func nelson(b []dual.Number, x []float64) dual.Number {
	return dual.Sub(b[0], dual.Mul(dual.Scale(x[0], b[1]), dual.Exp(dual.Scale(-x[1], b[2]))))
}

func mgh17(b []dual.Number, x []float64) dual.Number {
	return sum(b[0], dual.Mul(b[1], dual.Exp(dual.Scale(-x[0], b[3]))), dual.Mul(b[2], dual.Exp(dual.Scale(-x[0], b[4]))))
}

func roszman(b []dual.Number, x []float64) dual.Number {
	angle := dual.Atan(div(b[2], dual.Sub(real(x[0]), b[3])))
	return sum(b[0], dual.Scale(-x[0], b[1]), dual.Scale(-1/math.Pi, angle))
}

func enso(b []dual.Number, x []float64) dual.Number {
	wave := func(period, c, s dual.Number) dual.Number {
		phase := dual.Scale(2*math.Pi*x[0], dual.Inv(period))
		return dual.Add(dual.Mul(c, dual.Cos(phase)), dual.Mul(s, dual.Sin(phase)))
	}
	return sum(b[0], wave(real(12), b[1], b[2]), wave(b[3], b[4], b[5]), wave(b[6], b[7], b[8]))
}

func mgh09(b []dual.Number, x []float64) dual.Number {
	over := dual.Add(real(x[0]*x[0]), dual.Scale(x[0], b[1]))
	under := sum(real(x[0]*x[0]), dual.Scale(x[0], b[2]), b[3])
	return dual.Mul(b[0], div(over, under))
}

func logistic(b []dual.Number, x []float64) dual.Number {
	return dual.Add(real(1), dual.Exp(dual.Sub(b[1], dual.Scale(x[0], b[2]))))
}

// nistModels are the 27 models as the files state them.
var nistModels = []struct {
	name  string
	logY  bool
	model nistModel
}{
	{name: "Misra1a", model: misra1a},
	{name: "Chwirut2", model: chwirut},
	{name: "Chwirut1", model: chwirut},
	{name: "Lanczos3", model: lanczos},
	{name: "Gauss1", model: gauss},
	{name: "Gauss2", model: gauss},
	{name: "DanWood", model: func(b []dual.Number, x []float64) dual.Number {
		return dual.Mul(b[0], dual.Exp(dual.Scale(math.Log(x[0]), b[1])))
	}},
	{name: "Misra1b", model: func(b []dual.Number, x []float64) dual.Number {
		inner := dual.Inv(sq(dual.Add(real(1), dual.Scale(x[0]/2, b[1]))))
		return dual.Mul(b[0], dual.Sub(real(1), inner))
	}},
	{name: "Kirby2", model: rational(2)},
	{name: "Hahn1", model: rational(3)},
	{name: "Nelson", logY: true, model: nelson},
	{name: "MGH17", model: mgh17},
	{name: "Lanczos1", model: lanczos},
	{name: "Lanczos2", model: lanczos},
	{name: "Gauss3", model: gauss},
	{name: "Misra1c", model: func(b []dual.Number, x []float64) dual.Number {
		inner := dual.PowReal(dual.Add(real(1), dual.Scale(2*x[0], b[1])), -0.5)
		return dual.Mul(b[0], dual.Sub(real(1), inner))
	}},
	{name: "Misra1d", model: func(b []dual.Number, x []float64) dual.Number {
		bx := dual.Scale(x[0], b[1])
		return dual.Mul(b[0], div(bx, dual.Add(real(1), bx)))
	}},
	{name: "Roszman1", model: roszman},
	{name: "ENSO", model: enso},
	{name: "MGH09", model: mgh09},
	{name: "Thurber", model: rational(3)},
	{name: "BoxBOD", model: misra1a},
	{name: "Rat42", model: func(b []dual.Number, x []float64) dual.Number {
		return div(b[0], logistic(b, x))
	}},
	{name: "MGH10", model: func(b []dual.Number, x []float64) dual.Number {
		return dual.Mul(b[0], dual.Exp(div(b[1], dual.Add(real(x[0]), b[2]))))
	}},
	{name: "Eckerle4", model: func(b []dual.Number, x []float64) dual.Number {
		u := div(dual.Sub(real(x[0]), b[2]), b[1])
		return dual.Mul(div(b[0], b[1]), dual.Exp(dual.Scale(-0.5, sq(u))))
	}},
	{name: "Rat43", model: func(b []dual.Number, x []float64) dual.Number {
		return div(b[0], dual.Exp(div(dual.Log(logistic(b, x)), b[3])))
	}},
	{name: "Bennett5", model: func(b []dual.Number, x []float64) dual.Number {
		return dual.Mul(b[0], dual.Exp(neg(div(dual.Log(dual.Add(b[1], real(x[0]))), b[2]))))
	}},
}
