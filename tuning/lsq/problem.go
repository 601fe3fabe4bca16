package lsq

import (
	"fmt"
	"math"
)

// Problem is what is fitted. The zero values of the optional fields mean: no known standard deviations, no bounds,
// no priors, derivatives by differences.
type Problem struct {
	// Names names the parameters, in order. Their number is the number of parameters.
	Names []string
	// Rows is the number of residuals that Residual writes.
	Rows int
	// Residual writes model minus reading into dst (length Rows), in the readings' unit. A value that is not finite
	// makes the fit treat the point as impossible and step back.
	Residual func(dst, params []float64)
	// Jacobian writes the derivative of residual i by parameter j at dst[i*len(params)+j]. Nil means differences.
	Jacobian func(dst, params []float64)
	// Sigma is the standard deviation of each reading, or its relative size when the noise scale is to be found
	// from the residuals (Options.Noise). Nil means 1 for all.
	Sigma []float64
	// Lower and Upper bound the parameters; nil, or an infinite entry, means no bound.
	Lower, Upper []float64
	// Typical is a size of each parameter that matters, used only for the width of differences when the parameter
	// itself is near zero. Nil means the parameter's own size.
	Typical []float64
	// Priors is knowledge from elsewhere, each one row more in the fit.
	Priors []Prior
}

// Prior says that parameter Param (an index) was already known to be Mean, give or take StdErr.
type Prior struct {
	Param  int
	Mean   float64
	StdErr float64
}

// ProblemError reports a Problem, start or option that cannot be fitted at all.
type ProblemError struct {
	Field  string // which field is wrong
	Reason string // what is wrong with it and what it should be
}

func (e *ProblemError) Error() string {
	return fmt.Sprintf("lsq: %s: %s", e.Field, e.Reason)
}

func problemError(field, format string, args ...any) error {
	return &ProblemError{Field: field, Reason: fmt.Sprintf(format, args...)}
}

// validate checks shapes and values that no data could make right.
func (p *Problem) validate(start []float64, noise Noise) error {
	n := len(p.Names)
	switch {
	case n == 0:
		return problemError("Names", "no parameters; name at least one")
	case p.Residual == nil:
		return problemError("Residual", "missing; give the function that writes the residuals")
	case p.Rows <= 0:
		return problemError("Rows", "%d; give the number of residuals", p.Rows)
	case p.Rows+len(p.Priors) < n:
		return problemError("Rows", "%d residuals and %d priors cannot determine %d parameters; take more readings",
			p.Rows, len(p.Priors), n)
	case len(start) != n:
		return problemError("start", "%d values for %d parameters", len(start), n)
	case p.Sigma != nil && len(p.Sigma) != p.Rows:
		return problemError("Sigma", "%d values for %d residuals", len(p.Sigma), p.Rows)
	case len(p.Priors) > 0 && noise == ScaledByResiduals:
		return problemError("Priors", "a prior's standard error is absolute, so the readings' must be known too; set Sigma and KnownSigma")
	}
	for i, sigma := range p.Sigma {
		if !(sigma > 0) || math.IsInf(sigma, 1) {
			return problemError("Sigma", "entry %d is %v; it must be positive and finite", i, sigma)
		}
	}
	if err := p.validateBounds(start); err != nil {
		return err
	}
	return p.validatePriors()
}

func (p *Problem) validateBounds(start []float64) error {
	n := len(p.Names)
	for _, field := range []struct {
		name   string
		values []float64
	}{{"Lower", p.Lower}, {"Upper", p.Upper}, {"Typical", p.Typical}} {
		if field.values != nil && len(field.values) != n {
			return problemError(field.name, "%d values for %d parameters", len(field.values), n)
		}
	}
	for j, name := range p.Names {
		lo, hi := p.bounds(j)
		if math.IsNaN(start[j]) || math.IsInf(start[j], 0) {
			return problemError("start", "%s is %v; it must be finite", name, start[j])
		}
		if !(lo < hi) {
			return problemError("Lower", "%s has bounds %v and %v; the lower must be less than the upper", name, lo, hi)
		}
	}
	return nil
}

func (p *Problem) validatePriors() error {
	for i, prior := range p.Priors {
		if prior.Param < 0 || prior.Param >= len(p.Names) {
			return problemError("Priors", "prior %d names parameter %d of %d", i, prior.Param, len(p.Names))
		}
		if !(prior.StdErr > 0) || math.IsInf(prior.StdErr, 1) || math.IsNaN(prior.Mean) || math.IsInf(prior.Mean, 0) {
			return problemError("Priors", "prior %d is %v give or take %v; the mean must be finite, the error positive and finite",
				i, prior.Mean, prior.StdErr)
		}
	}
	return nil
}

// bounds returns the bounds of parameter j, infinite where there are none.
func (p *Problem) bounds(j int) (lower, upper float64) {
	lower, upper = math.Inf(-1), math.Inf(1)
	if p.Lower != nil {
		lower = p.Lower[j]
	}
	if p.Upper != nil {
		upper = p.Upper[j]
	}
	return lower, upper
}
