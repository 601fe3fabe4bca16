package lsq

import (
	"fmt"
	"strings"
)

// Summary says how the fit went.
type Summary struct {
	Status        Status
	Stop          Stop // the test that ended the loop
	InitialCost   float64
	FinalCost     float64 // half the sum of squares of the standardised residuals, or its robust counterpart
	Iterations    int
	PolishSteps   int
	ResidualCalls int
	JacobianCalls int
	// Condition is the condition number of the Jacobian with columns scaled to length 1 at the end; 0 if not known.
	Condition float64
	Noise     Noise
	Loss      Loss
}

// addEffort counts the work of another attempt in.
func (s *Summary) addEffort(other Summary) {
	s.Iterations += other.Iterations
	s.PolishSteps += other.PolishSteps
	s.ResidualCalls += other.ResidualCalls
	s.JacobianCalls += other.JacobianCalls
}

// Brief is one line for a status bar.
func (s Summary) Brief() string {
	return fmt.Sprintf("%s: cost %.4g after %d iterations, %s", s.Status, s.FinalCost, s.Iterations, s.Stop)
}

// Full is several lines for the record.
func (s Summary) Full() string {
	var b strings.Builder
	fmt.Fprintf(&b, "fit %s (%s)\n", s.Status, s.Stop)
	fmt.Fprintf(&b, "cost %.6g at the start, %.6g at the end\n", s.InitialCost, s.FinalCost)
	fmt.Fprintf(&b, "%d iterations, %d polishing steps, %d model calls, %d Jacobians\n",
		s.Iterations, s.PolishSteps, s.ResidualCalls, s.JacobianCalls)
	fmt.Fprintf(&b, "condition number %.3g; loss %s; %s\n", s.Condition, s.Loss, s.Noise)
	return b.String()
}
