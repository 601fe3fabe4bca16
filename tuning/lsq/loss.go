package lsq

import "math"

type lossKind int

const (
	squaresLoss lossKind = iota
	huberLoss
	softLoss
	bisquareLoss
)

// Loss says how much a residual costs. Near zero all are z^2/2, z being the residual over its scale; they differ in
// how far a wild reading may pull. The zero value is Squares.
type Loss struct {
	kind   lossKind
	tuning float64
	scale  float64
}

// Squares is plain least squares: best for Gaussian noise, helpless against a wild reading.
func Squares() Loss { return Loss{} }

// Huber grows linearly beyond tuning scales. 1.345 keeps 95 % of the efficiency under Gaussian noise.
func Huber(tuning float64) Loss { return Loss{kind: huberLoss, tuning: tuning} }

// SoftL1 bends smoothly from square to linear around tuning scales. 1.345 keeps 95 % of the efficiency here too.
func SoftL1(tuning float64) Loss { return Loss{kind: softLoss, tuning: tuning} }

// Bisquare gives a residual beyond tuning scales no pull at all (Tukey). 4.685 keeps 95 % of the efficiency. The cost
// has many minima, so it needs a good start and a scale that the wild readings have not spoilt (WithScale).
func Bisquare(tuning float64) Loss { return Loss{kind: bisquareLoss, tuning: tuning} }

// WithScale fixes the scale in which residuals are judged, in standard deviations of Problem.Sigma. Without it the
// scale is 1 under KnownSigma, and under ScaledByResiduals the median absolute residual, found anew as the fit goes on.
func (l Loss) WithScale(scale float64) Loss {
	l.scale = scale
	return l
}

// Robust tells whether the loss differs from plain squares.
func (l Loss) Robust() bool { return l.kind != squaresLoss }

func (l Loss) String() string {
	return [...]string{"squares", "Huber", "soft L1", "bisquare"}[l.kind]
}

func (l Loss) validate() error {
	if l.Robust() && (!(l.tuning > 0) || math.IsInf(l.tuning, 1)) {
		return problemError("Loss", "%s with tuning %v; positive and finite", l, l.tuning)
	}
	if !(l.scale >= 0) || math.IsInf(l.scale, 1) {
		return problemError("Loss", "scale %v; positive and finite, or 0 to choose", l.scale)
	}
	return nil
}

// rho is the cost of a scaled residual.
func (l Loss) rho(z float64) float64 {
	c := l.tuning
	switch l.kind {
	case huberLoss:
		if a := math.Abs(z); a > c {
			return c * (a - c/2)
		}
	case softLoss:
		u := z / c
		// c^2 (sqrt(1+u^2) - 1) without its cancellation
		return z * z / (1 + math.Sqrt(1+u*u))
	case bisquareLoss:
		u := (z / c) * (z / c)
		if u >= 1 {
			return c * c / 6
		}
		return c * c / 6 * u * (3 - 3*u + u*u)
	}
	return z * z / 2
}

// weight is psi(z)/z, psi being the derivative of rho: the share of its pull that a residual keeps.
func (l Loss) weight(z float64) float64 {
	switch l.kind {
	case huberLoss:
		if a := math.Abs(z); a > l.tuning {
			return l.tuning / a
		}
	case softLoss:
		u := z / l.tuning
		return 1 / math.Sqrt(1+u*u)
	case bisquareLoss:
		u := z / l.tuning
		if math.Abs(u) >= 1 {
			return 0
		}
		return (1 - u*u) * (1 - u*u)
	}
	return 1
}

// slope is the derivative of psi.
func (l Loss) slope(z float64) float64 {
	u := z / l.tuning
	switch l.kind {
	case huberLoss:
		if math.Abs(z) > l.tuning {
			return 0
		}
	case softLoss:
		return math.Pow(1+u*u, -1.5)
	case bisquareLoss:
		if math.Abs(u) >= 1 {
			return 0
		}
		return (1 - u*u) * (1 - 5*u*u)
	}
	return 1
}
