package lsq

import "fmt"

// Status is how a fit ended. In every case but BadStart the parameters in the Result are the best that were found.
type Status int

const (
	// Converged: a minimum, and every parameter is determined. Parameters updated.
	Converged Status = iota
	// RankLoss: a minimum, but the readings do not determine the parameters named in Result.Unidentified; many other
	// values of these would fit as well. Parameters updated, their standard errors absent.
	RankLoss
	// IterationLimit: Options.MaxIterations was used up. Parameters updated as far as it went.
	IterationLimit
	// Stalled: no step lowers the cost although the gradient says one should; most often a wrong Jacobian or a model
	// with jumps. Parameters updated as far as it went.
	Stalled
	// BadStart: the model or its derivative is not finite at the start. Parameters are the start.
	BadStart
)

func (s Status) String() string {
	switch s {
	case Converged:
		return "converged"
	case RankLoss:
		return "converged, but some parameters are not determined"
	case IterationLimit:
		return "stopped at the iteration limit"
	case Stalled:
		return "stalled"
	case BadStart:
		return "the model is not finite at the start"
	}
	return "unknown status"
}

// Early tells whether the fit ended before it reached a minimum.
func (s Status) Early() bool { return s == IterationLimit || s == Stalled || s == BadStart }

// Err is nil for Converged and a *StatusError otherwise, for callers who need every parameter.
func (s Status) Err() error {
	if s == Converged {
		return nil
	}
	return &StatusError{Status: s}
}

// StatusError is a Status other than Converged, as an error.
type StatusError struct{ Status Status }

func (e *StatusError) Error() string { return fmt.Sprintf("lsq: fit %s", e.Status) }

// Stop is the test that ended the main loop.
type Stop int

const (
	StopNone      Stop = iota // the loop ended without arriving
	StopZero                  // the residuals vanish
	StopGradient              // the residuals are at right angles to every free column of the Jacobian
	StopStep                  // the step became negligible
	StopReduction             // nothing left to gain
	StopLinear                // solved in one step: the model is linear
)

func (s Stop) String() string {
	switch s {
	case StopZero:
		return "residuals vanish"
	case StopGradient:
		return "gradient vanishes"
	case StopStep:
		return "step negligible"
	case StopReduction:
		return "nothing left to gain"
	case StopLinear:
		return "linear model solved"
	}
	return "not arrived"
}
