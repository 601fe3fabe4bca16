package lsq

import "math"

// Noise is the assumption under which standard errors are given.
type Noise int

const (
	// KnownSigma: Problem.Sigma are the readings' true standard deviations. Errors follow from them alone, however
	// well or badly the residuals agree; look at Result.ChiSquare before trusting them.
	KnownSigma Noise = iota
	// ScaledByResiduals: Problem.Sigma are right up to one common factor, which is found from the residuals.
	ScaledByResiduals
)

// String states the assumption in words.
func (n Noise) String() string {
	switch n {
	case KnownSigma:
		return "standard deviations of the readings taken as known"
	case ScaledByResiduals:
		return "standard deviations of the readings scaled by the residuals"
	}
	return "unknown noise assumption"
}

// Options says how to fit. Defaults gives working values.
type Options struct {
	MaxIterations int     // outer iterations, each one Jacobian
	GradientTol   float64 // largest cosine between the residuals and a Jacobian column at which a point counts as a minimum
	StepTol       float64 // step, relative to the parameters, below which the fit has arrived
	CostTol       float64 // predicted and actual relative reduction of the cost below which the fit has arrived
	InitialRadius float64 // first trust radius, as a multiple of the scaled start
	PolishSteps   int     // Gauss-Newton steps at most after convergence
	Attempts      int     // where one ends without a determined minimum, start again with another radius: so often in all, 1 to 7
	RankTol       float64 // singular value, relative to the largest, that counts as zero; 0 chooses by the kind of derivative
	Noise         Noise
	Loss          Loss
	Recorder      Recorder // told of every iteration; may be nil
}

// Recorder is told how a fit goes on. The solver itself never prints.
type Recorder interface {
	Iteration(Iteration)
}

// Iteration is one trial step.
type Iteration struct {
	Number   int     // outer iteration, from 1
	Cost     float64 // cost at the trial point
	Ratio    float64 // actual over predicted reduction
	Radius   float64 // trust radius afterwards, in scaled parameters
	Damping  float64 // 0 for a Gauss-Newton step
	Accepted bool
}

// Defaults returns options that suit a smooth model and double precision.
func Defaults() Options {
	return Options{
		MaxIterations: 2000,
		GradientTol:   1e-12,
		StepTol:       1e-10,
		CostTol:       1e-14,
		InitialRadius: 1,
		PolishSteps:   60,
		Attempts:      1 + len(otherRadii),
		Noise:         KnownSigma,
		Loss:          Squares(),
	}
}

// Validate reports the first option that makes no sense.
func (o *Options) Validate() error {
	switch {
	case o.MaxIterations < 1:
		return problemError("MaxIterations", "%d; at least 1", o.MaxIterations)
	case !(o.GradientTol >= 0 && o.GradientTol < 1):
		return problemError("GradientTol", "%v; from 0 to below 1", o.GradientTol)
	case !(o.StepTol >= 0 && o.StepTol < 1):
		return problemError("StepTol", "%v; from 0 to below 1", o.StepTol)
	case !(o.CostTol >= 0 && o.CostTol < 1):
		return problemError("CostTol", "%v; from 0 to below 1", o.CostTol)
	case !(o.InitialRadius > 0) || math.IsInf(o.InitialRadius, 1):
		return problemError("InitialRadius", "%v; positive and finite", o.InitialRadius)
	case o.PolishSteps < 0:
		return problemError("PolishSteps", "%d; 0 or more", o.PolishSteps)
	case o.Attempts < 1 || o.Attempts > 1+len(otherRadii):
		return problemError("Attempts", "%d; 1 to %d", o.Attempts, 1+len(otherRadii))
	case !(o.RankTol >= 0 && o.RankTol < 1):
		return problemError("RankTol", "%v; from 0 to below 1", o.RankTol)
	case o.Noise != KnownSigma && o.Noise != ScaledByResiduals:
		return problemError("Noise", "%d; KnownSigma or ScaledByResiduals", int(o.Noise))
	}
	return o.Loss.validate()
}
